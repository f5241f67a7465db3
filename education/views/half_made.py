"""What was typed or chosen on a page and not sent yet, while the patient changes the language.

Like the typed name it waits in a signed cookie of the patient's own browser, which goes nowhere but
to this link's pages, for some minutes: nothing of it is a record, and nothing of it stands in an
address.
"""

from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse

from education.personal_link import digest

COOKIE = "half"
COOKIE_AGE = 10 * 60  # seconds
LONGEST_COOKIE = 3_800  # bytes; a browser keeps 4,096 with its name and attributes (RFC 6265)
# What the buttons send, and no answer.
NOT_KEPT = frozenset({"language", "here", "go"})


def keep_half(response: HttpResponse, request: HttpRequest, token: str, page: str) -> bool:
    """Put what a form sent into the browser's keeping, for `page`. False: it is too long for it."""
    fields = {name: request.POST.getlist(name) for name in request.POST if name not in NOT_KEPT}
    if not fields:
        return True
    value = signing.dumps(fields, salt=_salt(token, page), compress=True)
    if len(value) > LONGEST_COOKIE:
        return False
    response.set_cookie(
        COOKIE,
        value,
        max_age=COOKIE_AGE,
        path=_path(token),
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Strict",
    )
    return True


def half_made(request: HttpRequest, token: str, page: str) -> QueryDict | None:
    """Return what waits for this page in this browser, or None."""
    try:
        fields = signing.loads(
            request.COOKIES.get(COOKIE, ""), salt=_salt(token, page), max_age=COOKIE_AGE
        )
    except (signing.BadSignature, ValueError):
        return None
    found = QueryDict(mutable=True)
    for name, values in fields.items():
        found.setlist(name, values)
    return found


def forget_half(response: HttpResponse, request: HttpRequest, token: str) -> HttpResponse:
    """Take it out of the browser's keeping: something was sent. Returns the response."""
    if COOKIE in request.COOKIES:
        response.delete_cookie(COOKIE, path=_path(token), samesite="Strict")
    return response


def _path(token: str) -> str:
    return reverse("quiz-start", args=[token])


def _salt(token: str, page: str) -> str:
    """A cookie of another link or page is worth nothing here."""
    return f"half-made:{digest(token)}:{page}"
