"""Who may open what: enforced here for every view, declared at each view by `open_to`."""

from collections.abc import Callable
from typing import Any

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import ImproperlyConfigured, PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render

from clinic import typed_before
from clinic.client_address import client_address
from clinic.models import StaffUser
from clinic.trail import record
from clinic.uploads import takes_files, upload_refused
from patients.clock import now
from patients.open_to import ANYONE, LINK_HOLDER, TOKEN_HOLDER

Respond = Callable[[HttpRequest], HttpResponse]


class Access:
    """Refuses a view to whoever it does not name, and writes staff's requests into the trail.

    In the trail stands every request of a member of staff that writes, that names a record in its
    address, or that is about a patient. A view says which patients by `about`, and what else the
    trail should tell by `request.trail_detail`. A preview, which is asked for with every pause in
    typing and is about no patient, says `request.changes_nothing` and stands nowhere.
    """

    def __init__(self, get_response: Respond) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        match = request.resolver_match
        is_staff = match and not _public(match.func) and request.user.is_authenticated
        about_patient_id = getattr(request, "about_patient_id", None)
        if is_staff:
            typed_before.remember_who(request, response)
            response = typed_before.put_back(request, response)
        told = match and (request.method == "POST" or match.kwargs or about_patient_id)
        if is_staff and match and told and not getattr(request, "changes_nothing", False):
            at = now()
            for patient_id in (about_patient_id, *getattr(request, "also_about_patient_ids", ())):
                record(
                    act=f"{request.method} {match.url_name}",
                    at=at,
                    by_id=request.user.pk,
                    patient_id=patient_id,
                    detail={
                        **match.kwargs,
                        **getattr(request, "trail_detail", {}),
                        "status": response.status_code,
                    },
                    address=client_address(request) or None,
                )
        return response

    def process_view(
        self,
        request: HttpRequest,
        view: Callable[..., HttpResponseBase],
        args: tuple[Any, ...],
        kwargs: dict[str, Any],
    ) -> HttpResponseBase | None:
        """Let the request through, send it to the sign-in page, or refuse it."""
        who = getattr(view, "open_to", None)
        if who is None:
            raise ImproperlyConfigured(f"{view.__module__} does not say who may open it")
        if _public(view):
            return None
        if not request.user.is_authenticated:
            posted = request.method == "POST"
            back = typed_before.keep(request) if posted else request.get_full_path()
            return redirect_to_login(back)
        if request.user.role not in who:
            raise PermissionDenied
        if request.method == "POST" and upload_refused(request) and not takes_files(view):
            return render(request, "400.html", status=413)
        return None


def member(request: HttpRequest) -> StaffUser:
    """Return who is signed in; for views that only staff may open."""
    if not isinstance(request.user, StaffUser):
        raise PermissionDenied
    return request.user


def about(request: HttpRequest, patient_id: int, *others: int) -> None:
    """Say which patients a request is about, for the trail: one entry for each."""
    request.about_patient_id = patient_id  # type: ignore[attr-defined]
    request.also_about_patient_ids = others  # type: ignore[attr-defined]


def _public(view: Callable[..., Any]) -> bool:
    return bool({ANYONE, LINK_HOLDER, TOKEN_HOLDER} & getattr(view, "open_to", frozenset()))
