"""The trail: who saw or changed what, when and from where. For the auditor and administrator."""

from dataclasses import dataclass

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from clinic.models import Role, StaffUser, TrailEntry
from clinic.trail import Seal, first_broken, seal
from patients import programme
from patients.models import Patient
from patients.open_to import open_to

PAGE = 100
MRN_LONGEST = 40
VERBS = {"GET": "looked at", "HEAD": "looked at", "POST": "sent"}


@dataclass(frozen=True)
class Shown:
    """An entry with its act and its details in words."""

    entry: TrailEntry
    act: str
    detail: str


@dataclass(frozen=True)
class Checked:
    """What checking the chain found: the first entry that does not fit, if any, and the end."""

    broken: int | None
    seal: Seal


@open_to(Role.AUDITOR, Role.ADMINISTRATOR)
@require_safe
def trail(request: HttpRequest) -> HttpResponse:
    """The entries, newest first, by keyset: `?before=<id>` goes on where a page ended."""
    mrn = request.GET.get("mrn", "").replace("\x00", "").strip()[:MRN_LONGEST]
    staff = _number(request.GET.get("staff", ""))
    before = _number(request.GET.get("before", ""))
    patient = Patient.objects.filter(mrn__iexact=mrn).first() if mrn else None
    if patient:
        request.about_patient_id = patient.pk  # type: ignore[attr-defined]
    entries = _entries(mrn, patient, staff, before)
    listed = list(entries[: PAGE + 1])
    context = {
        "shown": [_shown(entry) for entry in listed[:PAGE]],
        "next": listed[PAGE - 1].pk if len(listed) > PAGE else None,
        "mrn": mrn,
        "unknown_mrn": bool(mrn) and patient is None,
        "staff": staff,
        "everybody": StaffUser.objects.order_by("name"),
        "checked": Checked(first_broken(), seal()) if "check" in request.GET else None,
        "zone": programme.current().zone,
    }
    return render(request, "clinic/trail.html", context)


def _entries(
    mrn: str, patient: Patient | None, staff: int | None, before: int | None
) -> QuerySet[TrailEntry]:
    entries = TrailEntry.objects.select_related("by", "patient").order_by("-id")
    if mrn:
        entries = entries.filter(patient=patient) if patient else entries.none()
    if staff is not None:
        entries = entries.filter(by=staff)
    if before is not None:
        entries = entries.filter(pk__lt=before)
    return entries


def _shown(entry: TrailEntry) -> Shown:
    verb, _, name = entry.act.partition(" ")
    act = f"{VERBS[verb]}: {name.replace('-', ' ')}" if verb in VERBS else entry.act
    detail = ", ".join(f"{key.replace('_', ' ')} {value}" for key, value in entry.detail.items())
    return Shown(entry, act, detail)


def _number(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 16 else None
