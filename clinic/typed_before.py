"""What was typed into a form when the session had ended: kept, and in the form again afterwards.

It waits in the session that the browser gets for signing in, and nobody but the person who typed
it is shown it: a signed cookie says who was signed in last at this browser. Nothing is sent by
itself; the form is on the page again, filled, and says that nothing was saved.
"""

from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string

from clinic.filled_form import filled

KEPT = "typed_before"
WHO = "who"  # the cookie
LONGEST_BETWEEN = 14 * 24 * 60 * 60  # seconds; with less, a session could outlive it
MOST = 400_000  # characters; the editor's longest page has some 100,000
_SALT = "clinic.typed_before"
# Keys of the form, made anew with each page.
_OF_THE_FORM = frozenset({"csrfmiddlewaretoken", "act_key"})


def keep(request: HttpRequest, *, by_id: int | None = None) -> str:
    """Keep what a refused POST carried; return the path of the page that it was sent from.

    `by_id`: who typed it; None asks the cookie, and keeps nothing when that tells nobody.
    """
    page = _page(request)
    by_id = by_id or _last_signed_in(request)
    typed = {
        name: values
        for name, values in request.POST.lists()
        if name not in _OF_THE_FORM and "password" not in name
    }
    size = sum(len(value) for values in typed.values() for value in values)
    if by_id and any(any(values) for values in typed.values()) and size <= MOST:
        request.session[KEPT] = {
            "by": by_id,
            "page": urlsplit(page).path,
            "action": request.path,
            "typed": typed,
        }
    return page


def put_back(request: HttpRequest, response: HttpResponse) -> HttpResponse:
    """Fill the form of the page that somebody came back to, and forget what was kept."""
    if request.method != "GET" or KEPT not in request.session:
        return response
    kept: dict[str, Any] = request.session[KEPT]
    if kept["by"] != request.user.pk:
        del request.session[KEPT]
        return response
    is_page = response.status_code == 200 and response.get("Content-Type", "").startswith(
        "text/html"
    )
    if not is_page or response.streaming or request.path != kept["page"]:
        return response
    del request.session[KEPT]
    again = filled(
        response.content.decode(),
        page=request.get_full_path(),
        action=kept["action"],
        typed=kept["typed"],
        keep=_OF_THE_FORM,
    )
    left = [(name, value) for name in again.left for value in kept["typed"][name] if value]
    told = render_to_string("clinic/_typed_before.html", {"left": left})
    head, main, rest = again.html.partition("<main")
    tag, end, inside = rest.partition(">")
    response.content = f"{head}{main}{tag}{end}{told}{inside}".encode()
    return response


def remember_who(request: HttpRequest, response: HttpResponse) -> None:
    """Note at the browser who is signed in, for when the session has ended."""
    who = signing.Signer(salt=_SALT).sign(str(request.user.pk))
    if request.COOKIES.get(WHO) != who:
        response.set_cookie(
            WHO,
            who,
            max_age=LONGEST_BETWEEN,
            secure=settings.SESSION_COOKIE_SECURE,
            httponly=True,
            samesite="Lax",
        )


def csrf_refused(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Answer a form whose key is not this session's: signing in again meanwhile gives another.

    What it carried is kept only when it came from a page of ours: the browser says from where.
    """
    again = ""
    ours = f"{request.scheme}://{request.get_host()}"
    if request.user.is_authenticated and request.headers.get("Origin") == ours:
        again = keep(request, by_id=request.user.pk)
        again = again if KEPT in request.session else ""
    body = render_to_string("403_csrf.html", {"again": again}, request)
    return HttpResponse(body, status=403)


def _last_signed_in(request: HttpRequest) -> int | None:
    try:
        return int(signing.Signer(salt=_SALT).unsign(request.COOKIES.get(WHO, "")))
    except (signing.BadSignature, ValueError):
        return None


def _page(request: HttpRequest) -> str:
    """The page that a form stood on, by its address at this site; else where it was sent to."""
    came = urlsplit(request.headers.get("Referer", ""))
    if came.netloc == request.get_host() and came.path[:2] not in ("", "//"):
        return came.path + (f"?{came.query}" if came.query else "")
    return request.get_full_path()
