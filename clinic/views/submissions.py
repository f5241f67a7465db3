"""Submissions: undecided first; decide whose one is, and undo it."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from clinic.access import about, member
from clinic.forms.acts import ReasonForm
from clinic.forms.decide import NOBODY, DecideForm
from clinic.once import once
from clinic.roles import CARERS, READERS
from clinic.submissions import (
    Suggested,
    assignments_of,
    found,
    latest_decision,
    matched_patient,
    search,
    weigh,
    with_people,
)
from clinic.words import STANDING
from education import identify
from education.models import MATCHED, IdentityVerdict, Submission
from education.standings import standings
from education.titles import titles
from patients.clock import local_date, now
from patients.models import Patient
from patients.open_to import open_to
from patients.programme import current

ROWS = 50


@open_to(*READERS)
def submissions(request: HttpRequest) -> HttpResponse:
    """List the undecided first, oldest first; then the decided, latest first."""
    try:
        rows = with_people(Submission.objects.all())
        undecided = rows.undecided()  # type: ignore[attr-defined]
        asked = request.GET.get("assignment", "")
        if asked.isdecimal() and len(asked) < 19:
            ids = list(
                undecided.filter(attempt__invitation__assignment=int(asked)).values_list(
                    "pk", flat=True
                )[:2]
            )
            if len(ids) == 1:
                return HttpResponseRedirect(reverse("submission", args=ids))
        decided = rows.exclude(pk__in=undecided.values("pk")).order_by("-recorded_at", "-id")
        page = Paginator(decided, ROWS).get_page(request.GET.get("page"))
        context = {
            "undecided": [(s, latest_decision(s)) for s in undecided.order_by("recorded_at", "id")],
            "decided": [(s, latest_decision(s)) for s in page.object_list],
            "page": page,
            "titles": titles(),
            "zone": current().zone,
            "at": now(),
        }
        return render(request, "clinic/submissions.html", context)
    except DatabaseError:
        return render(request, "clinic/could_not_load.html", status=503)


@open_to(*READERS)
def submission(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one submission: what was typed, who it could be, what was decided."""
    try:
        return _show(request, _get(request, pk))
    except DatabaseError:
        return render(request, "clinic/could_not_load.html", status=503)


@open_to(*CARERS)
@once
@require_POST
def decide_identity(request: HttpRequest, pk: int) -> HttpResponse:
    """A member of staff says whose it is."""
    row = _get(request, pk)
    shown = [s.patient.pk for s in _candidates(request, row)]
    form = DecideForm(request.POST, people=shown)
    if not form.is_valid():
        return _show(request, row, form=form)
    person, note = form.cleaned_data["person"], form.cleaned_data["note"]
    at, by_id = now(), member(request).pk
    try:
        if person == NOBODY:
            identify.not_a_patient(row, at=at, by_id=by_id, note=note)
            messages.success(request, "Kept as not a patient of ours.")
        else:
            patient = get_object_or_404(Patient, pk=int(person))
            about(request, patient.pk)
            identify.match(row, patient, at=at, by_id=by_id, note=note)
            messages.success(request, f"Decided: this is {patient.full_name}’s quiz.")
    except identify.DecidedMeanwhile:
        messages.warning(request, "Somebody decided meanwhile: yours was not taken. See below.")
    return HttpResponseRedirect(reverse("submission", args=[pk]))


@open_to(*CARERS)
@once
def undo_identity(request: HttpRequest, pk: int) -> HttpResponse:
    """Take back the decision in force, and the clearance that rests on it."""
    row = _get(request, pk)
    form = ReasonForm(request.POST or None)
    if request.method != "POST" or not form.is_valid():
        return _show(request, row, undo=form)
    try:
        reason = form.cleaned_data["reason"]
        identify.undo(row, at=now(), by_id=member(request).pk, reason=reason)
        messages.success(request, "Undone. A clearance that rested on it is revoked.")
    except identify.DecidedMeanwhile:
        messages.warning(request, "It had been undone meanwhile.")
    return HttpResponseRedirect(reverse("submission", args=[pk]))


def _get(request: HttpRequest, pk: int) -> Submission:
    row = get_object_or_404(with_people(Submission.objects.all()), pk=pk)
    patient = matched_patient(latest_decision(row))
    link_patient = row.attempt.invitation.assignment.operation.patient
    about(request, (patient or link_patient).pk)
    return row


def _candidates(request: HttpRequest, row: Submission) -> list[Suggested]:
    """The ranked candidates, and who was searched for."""
    suggested = weigh(row).suggested
    text = (request.POST.get("q") or request.GET.get("q") or "").strip()[:100]
    if text:
        without = [s.patient.pk for s in suggested]
        suggested += [found(row, patient) for patient in search(text, without=without)]
    return suggested


def _show(
    request: HttpRequest,
    row: Submission,
    *,
    form: DecideForm | None = None,
    undo: ReasonForm | None = None,
) -> HttpResponse:
    decision = latest_decision(row)
    in_force = decision if decision and decision.verdict != IdentityVerdict.UNDONE else None
    settings = current()
    patient = matched_patient(in_force)
    on = local_date(now(), settings.zone)
    told = standings(assignments_of(row, patient), on=on, settings=settings) if patient else []
    clearance = getattr(in_force, "clearance", None)
    context = {
        "submission": row,
        "title": titles().get(row.edition.module_id, ""),
        "link_patient": row.attempt.invitation.assignment.operation.patient,
        "decisions": list(row.decisions.all()),
        "in_force": in_force,
        "matched": in_force is not None and in_force.verdict in MATCHED,
        "patient": patient,
        "told": told,
        "clearance": clearance,
        "considered": None if in_force else weigh(row),
        "suggested": [] if in_force else _candidates(request, row),
        "q": (request.POST.get("q") or request.GET.get("q") or "")[:100],
        "form": form,
        "undo": undo,
        "standing_words": STANDING,
        "may_care": member(request).role in CARERS,
        "zone": settings.zone,
        "on": on,
    }
    wrong = form is not None or (undo is not None and undo.is_bound)
    return render(request, "clinic/submission.html", context, status=422 if wrong else 200)
