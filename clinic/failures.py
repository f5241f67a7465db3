"""The pages for when something is wrong. Those for patients need neither database nor sign-in."""

import sys

from django.conf import settings
from django.db import InterfaceError, InternalError, OperationalError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string

# InternalError: it lets read and not write, say.
FAILURES = (OperationalError, InterfaceError, InternalError)


def page_not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """404: staff go on from where they are; whoever is not signed in may be a patient."""
    try:
        if request.user.is_authenticated:
            return render(request, "clinic/not_found.html", status=404)
    except FAILURES:
        pass  # who is signed in cannot be told: the plain page it is
    return HttpResponse(render_to_string("404.html"), status=404)


def server_error(request: HttpRequest) -> HttpResponse:
    """503 when the database is what failed, else 500.

    Django calls this while it handles the exception, wherever in the request that was raised
    (a view, a middleware, a lazy query in a template), which is why the difference is made here.
    """
    database_failed = isinstance(sys.exc_info()[1], FAILURES)
    status = 503 if database_failed else 500
    # Without the request: context processors would ask the database who is signed in.
    page = render_to_string(f"{status}.html", {"programme_phone": settings.PROGRAMME_PHONE})
    response = HttpResponse(page, status=status)
    if database_failed:
        response["Retry-After"] = "30"
    return response
