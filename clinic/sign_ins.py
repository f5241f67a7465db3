"""Signing in and out is in the trail; who tries an account wrongly too often is locked out."""

from typing import Any

from django.contrib.auth.signals import user_logged_in, user_logged_out, user_login_failed
from django.http import HttpRequest

from clinic.client_address import client_address
from clinic.models import StaffUser
from clinic.trail import record
from patients.clock import now


def typed_account(request: HttpRequest, credentials: dict[str, Any] | None) -> str:
    """Return the account that was typed, as axes counts it: in lower case, without blanks.

    Signing in looks the address up whatever its case, so tries must be counted so as well.
    """
    typed = (credentials or {}).get("username") or request.POST.get("username", "")
    return str(typed).strip().lower()[:254]


def connect() -> None:
    """Write the trail from here on; called once when the app is ready."""
    user_logged_in.connect(_signed_in, dispatch_uid="trail-signed-in")
    user_logged_out.connect(_signed_out, dispatch_uid="trail-signed-out")
    user_login_failed.connect(_failed, dispatch_uid="trail-sign-in-failed")


def _signed_in(sender: object, request: HttpRequest, user: StaffUser, **kwargs: Any) -> None:
    _record("signed in", request, user)


def _signed_out(
    sender: object, request: HttpRequest, user: StaffUser | None, **kwargs: Any
) -> None:
    if user is not None:
        _record("signed out", request, user)


def _failed(
    sender: object,
    credentials: dict[str, Any],
    request: HttpRequest | None = None,
    **kwargs: Any,
) -> None:
    """Whose account was tried, if it is one; what else was typed could be a password."""
    if request is None:
        return
    tried = StaffUser.objects.filter(email__iexact=typed_account(request, credentials)).first()
    record(
        act="sign-in failed",
        at=now(),
        by_id=None,
        detail={"account": tried.pk} if tried else {},
        address=client_address(request) or None,
    )


def _record(act: str, request: HttpRequest, user: StaffUser) -> None:
    record(act=act, at=now(), by_id=user.pk, address=client_address(request) or None)
