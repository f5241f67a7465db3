"""When a fact cannot be read, a page about OR dates says "cannot tell", and nothing else.

Fault 20: the database fails while the coordinator looks. The page needs neither the database nor
the session, and its status is 503, so that nothing takes it for an answer.
"""

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec, cast

from django.conf import settings
from django.db import Error
from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string

from clinic.unsettled import CannotTell
from patients.programme import NotFounded

Params = ParamSpec("Params")
View = Callable[Concatenate[HttpRequest, Params], HttpResponse]


def or_cannot_tell(view: View[Params]) -> View[Params]:
    """Answer with the page "cannot tell" when the view could not read or write a fact."""

    @wraps(view)
    def answer(request: HttpRequest, *args: Params.args, **kwargs: Params.kwargs) -> HttpResponse:
        try:
            return view(request, *args, **kwargs)
        except (Error, CannotTell, NotFounded):
            return cannot_tell(was_writing=request.method == "POST")

    return cast("View[Params]", answer)


def cannot_tell(*, was_writing: bool) -> HttpResponse:
    """Return the page; `was_writing`: somebody had pressed a button, and it did nothing."""
    page = render_to_string(
        "clinic/cannot_tell.html",
        {"was_writing": was_writing, "programme_phone": settings.PROGRAMME_PHONE},
    )
    return HttpResponse(page, status=503, headers={"Retry-After": "30"})
