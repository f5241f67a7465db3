"""A mail service reports what became of our emails; django-anymail reads and checks the report."""

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import Resolver404, resolve
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from patients.open_to import TOKEN_HOLDER, open_to


@csrf_exempt
@open_to(TOKEN_HOLDER)
@require_http_methods(["POST", "HEAD"])
def mail_events(request: HttpRequest) -> HttpResponse:
    """Hand the report to the service's reader; there is no such page until a secret is set.

    The secret is asked for by that reader (HTTP basic authentication), with the service's own
    signature where it has one; it answers 400 without.
    """
    if not settings.MAIL_EVENTS:
        raise Http404
    try:
        found = resolve(f"/{settings.HOSTED_MAIL}/tracking/", urlconf="anymail.urls")
    except Resolver404:  # one address for all of its reports
        found = resolve(f"/{settings.HOSTED_MAIL}/", urlconf="anymail.urls")
    answer: HttpResponse = found.func(request, *found.args, **found.kwargs)
    return answer
