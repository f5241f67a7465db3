"""The typed name and date of birth on their way from one page to the next.

They are not kept with the draft (design.md, section 3): until the quiz is handed in they are in a
signed cookie of the patient's own browser, which goes nowhere but to this link's pages.
"""

from datetime import date

from django.conf import settings
from django.core import signing
from django.http import HttpResponse
from django.urls import reverse

from education.forms import Typed
from education.personal_link import digest
from education.views.link import Visit

COOKIE = "typed"
COOKIE_AGE = 30 * 60  # seconds


def typed_in(visit: Visit) -> Typed | None:
    """Return what was typed in this browser, or None when it is not there, too old or changed."""
    try:
        given_names, family_names, day = signing.loads(
            visit.request.COOKIES.get(COOKIE, ""), salt=_salt(visit), max_age=COOKIE_AGE
        )
        return Typed(given_names, family_names, date.fromisoformat(day))
    except (signing.BadSignature, ValueError, TypeError):
        return None


def keep_typed(response: HttpResponse, visit: Visit, typed: Typed) -> None:
    """Put what was typed into the browser's keeping."""
    facts = [typed.given_names, typed.family_names, typed.birth_date.isoformat()]
    response.set_cookie(
        COOKIE,
        # Compressed, because 400 characters of some scripts would be cut off by the browser.
        signing.dumps(facts, salt=_salt(visit), compress=True),
        max_age=COOKIE_AGE,
        path=reverse("quiz-start", args=[visit.token]),
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Strict",
    )


def forget_typed(response: HttpResponse, visit: Visit) -> None:
    """Take it out of the browser's keeping."""
    response.delete_cookie(
        COOKIE, path=reverse("quiz-start", args=[visit.token]), samesite="Strict"
    )


def _salt(visit: Visit) -> str:
    """A cookie of another link is worth nothing here."""
    return f"quiz-typed:{digest(visit.token)}"
