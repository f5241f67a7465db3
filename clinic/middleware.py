"""What every response and every signed-in request has to pass."""

import time
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.contrib.auth import SESSION_KEY, logout
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.middleware.gzip import GZipMiddleware

GetResponse = Callable[[HttpRequest], HttpResponse]
STARTED = "signed_in_at"
SEEN = "seen_at"
SEEN_STEP = 60  # seconds; the idle limit is exact to this, and most requests write nothing


class NeverStored:
    """No page is kept in any cache: most of them show facts about a patient.

    Static files never get here: WhiteNoise answers for them, further out.
    """

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        # A file of the teaching says itself how long it may be kept: it never changes.
        if not getattr(response, "same_for_everyone", False):
            response["Cache-Control"] = "no-store, private"
        return response


class CompressedPages(GZipMiddleware):
    """Compresses pages. A picture or a video is small already, and is asked for in parts."""

    def process_response(self, request: HttpRequest, response: HttpResponseBase) -> Any:
        """Leave what is no text alone."""
        if response.get("Content-Type", "").startswith(("image/", "video/")):
            return response
        return super().process_response(request, response)


class AbsoluteSessionLimit:
    """Signs a member of staff out 12 hours after signing in, however busy the session was."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        # Without a cookie there is no session: do not even ask for one.
        if settings.SESSION_COOKIE_NAME in request.COOKIES and SESSION_KEY in request.session:
            now = time.time()
            started = request.session.setdefault(STARTED, now)
            if now - started > settings.SESSION_ABSOLUTE_AGE:
                logout(request)
            elif now - request.session.get(SEEN, 0) > SEEN_STEP:
                request.session[SEEN] = now  # saving starts the idle minutes anew
        return self.get_response(request)
