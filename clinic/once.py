"""A form that is sent twice acts once, and answers the same both times (promise W3)."""

import uuid
from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec, cast

from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseBadRequest, HttpResponseRedirect

from clinic.access import member
from clinic.models import ActDone
from patients.clock import now

Params = ParamSpec("Params")
Act = Callable[Concatenate[HttpRequest, Params], HttpResponse]


def once(view: Act[Params]) -> Act[Params]:
    """Wrap a view whose POST writes and then redirects; the form carries `{% act_key %}`.

    The key is stored in the act's own transaction. An answer that is not a redirect (a form with
    errors) rolls everything back and leaves the key free.
    """

    @wraps(view)
    def act_once(request: HttpRequest, *args: Params.args, **kwargs: Params.kwargs) -> HttpResponse:
        if request.method != "POST":
            return view(request, *args, **kwargs)
        try:
            key = uuid.UUID(request.POST.get("act_key", ""))
        except ValueError:
            return HttpResponseBadRequest(
                "This form is incomplete. Go back and load the page again."
            )
        with transaction.atomic():
            done, first = ActDone.objects.get_or_create(
                key=key, defaults={"by": member(request), "recorded_at": now()}
            )
            if not first:
                return HttpResponseRedirect(done.outcome)
            response = view(request, *args, **kwargs)
            if isinstance(response, HttpResponseRedirect):
                ActDone.objects.filter(pk=key).update(outcome=response.url)
            else:
                transaction.set_rollback(True)
        return response

    return cast("Act[Params]", act_once)


def new_key() -> str:
    """Return the key of one form, as it is shown."""
    return str(uuid.uuid4())
