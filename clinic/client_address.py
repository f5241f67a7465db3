"""Where a request came from."""

from django.conf import settings
from django.http import HttpRequest


def client_address(request: HttpRequest) -> str:
    """The address of the caller; behind our proxy, the one that the proxy saw.

    The last entry of X-Forwarded-For is the proxy's own observation. Those before it are the
    caller's claims.
    """
    if settings.BEHIND_PROXY:
        seen = str(request.META.get("HTTP_X_FORWARDED_FOR", "")).rsplit(",", 1)[-1].strip()
        if seen:
            return seen
    return str(request.META.get("REMOTE_ADDR", ""))
