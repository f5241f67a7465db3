"""A shared screen in the clinic: what keeps one quiz open on it, and how it forgets.

Behind the code of a shared screen stand the patient's own pages. Unlike an emailed link, their
address opens nothing by itself: this browser has to hold a signed cookie too, which each page
renews for as long as that page may lie idle, and which is thrown away at the end. So neither the
back button nor the history of the browser leads anywhere. A page that lies idle asks whether
somebody is there, and then leaves by itself: by the Refresh header, which needs no script.
"""

from datetime import datetime, timedelta

from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from education.personal_link import digest

COOKIE = "screen"
ASKED_FOR = timedelta(seconds=60)  # how long “are you still there?” waits
READING = 4  # times as long as a question: a lesson is read without a tap
SLACK = timedelta(seconds=20)
# Whatever the browser holds of this site: also the back button's pages.
FORGET = '"cache", "cookies", "storage"'


def idle_limit(*, reading: bool) -> timedelta:
    """Return how long a page may lie idle before it asks."""
    return timedelta(seconds=settings.SHARED_SCREEN_IDLE) * (READING if reading else 1)


def keep_open(
    response: HttpResponse, token: str, *, at: datetime, wait: timedelta, then: str
) -> None:
    """Let this browser go on for `wait`, and then send the page on to `then` by itself."""
    until = at + wait + ASKED_FOR + SLACK
    response.set_cookie(
        COOKIE,
        signing.dumps(until.timestamp(), salt=_salt(token)),
        path=reverse("quiz-start", args=[token]),
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Strict",
    )
    if response.status_code != 303:
        response["Refresh"] = f"{int(wait.total_seconds())}; url={then}"


def is_open(request: HttpRequest, token: str, *, at: datetime) -> bool:
    """Whether this browser may go on."""
    try:
        until: float = signing.loads(request.COOKIES.get(COOKIE, ""), salt=_salt(token))
    except signing.BadSignature:
        return False
    return at.timestamp() < until


def leave(token: str) -> HttpResponse:
    """Forget everything on this screen, and show the page on which the next one begins."""
    response = HttpResponse(status=303, headers={"Location": reverse("kiosk")})
    response["Clear-Site-Data"] = FORGET
    # Clear-Site-Data is heard on https only: what there is goes one by one too.
    path = reverse("quiz-start", args=[token])
    for name in (COOKIE, "typed", "half"):
        response.delete_cookie(name, path=path, samesite="Strict")
    response.delete_cookie("lang", path="/q/", samesite="Lax")
    return response


def _salt(token: str) -> str:
    return f"shared-screen:{digest(token)}"
