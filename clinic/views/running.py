"""What runs and what is parked: for the administrator, who looks after the machines too."""

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from clinic import parking
from clinic.models import Role
from clinic.once import once
from clinic.running_page import read
from education import daily
from patients import programme
from patients.clock import now
from patients.open_to import open_to


@open_to(Role.ADMINISTRATOR)
@require_safe
def running(request: HttpRequest) -> HttpResponse:
    """The page."""
    context = {
        "page": read(at=now()),
        "zone": programme.current().zone,
        "release": settings.RELEASE,
    }
    return render(request, "clinic/running.html", context)


@open_to(Role.ADMINISTRATOR)
@require_POST
@once
def running_parked(request: HttpRequest, parked_kind: str, pk: int) -> HttpResponse:
    """Try a parked job or task again, or set it aside for good."""
    decision = request.POST.get("decision", "")
    if parked_kind not in ("job", "task") or decision not in ("again", "aside"):
        raise Http404
    request.trail_detail = {"decision": decision}  # type: ignore[attr-defined]
    again = decision == "again"
    if parked_kind == "job":
        done = daily.run_again(pk) if again else daily.set_aside(pk, at=now())
    else:
        done = parking.take_up(pk) if again else parking.set_aside(pk, at=now())
    if not done:
        messages.info(request, "Nothing was changed: this was settled meanwhile.")
    elif again:
        messages.success(request, "It is tried again within five minutes.")
    else:
        messages.success(request, "It is set aside, and left undone.")
    return redirect("running")
