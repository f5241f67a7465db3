"""The call sheet: what to ask a patient in a teach-back, and what came of it."""

from django.contrib import messages
from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from clinic.access import about, member
from clinic.call_sheet import lines
from clinic.forms.teach_back import TeachBackForm
from clinic.once import once
from clinic.reach import reached
from clinic.roles import CARERS, READERS
from clinic.teach_back_words import RECORDED
from clinic.views.acts import go_back
from clinic.words import STANDING, why
from education import teach_back as acts
from education.models import Assignment
from education.reaching import NOTHING_KNOWN, reaching
from education.rules.teach_back import TeachBackOutcome
from education.standings import standing_of
from education.titles import titles
from patients.clock import local_date, now
from patients.models import Means
from patients.open_to import open_to
from patients.programme import current, local_day


@open_to(*READERS)
@require_safe
def call_sheet(request: HttpRequest, pk: int, assignment: int) -> HttpResponse:
    """Show the points to go through, with an open question for each, on screen or to print."""
    try:
        row = _assignment(request, assignment, of=pk)
        form = TeachBackForm(points=acts.points_of(row), on=local_day(now()))
        return _show(request, row, form)
    except DatabaseError:
        return render(request, "clinic/could_not_load.html", status=503)


@open_to(*CARERS)
@once
def teach_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep a teach-back: what was said about each point, and how it ended."""
    row = _assignment(request, pk)
    patient = row.operation.patient
    if request.method != "POST":
        return redirect("call-sheet", patient.pk, row.pk)
    at = now()
    form = TeachBackForm(request.POST, points=acts.points_of(row), on=local_day(at))
    if not form.is_valid():
        return _show(request, row, form)
    typed = form.cleaned_data
    outcome = TeachBackOutcome(typed["outcome"])
    try:
        acts.record(
            row,
            outcome=outcome,
            means=Means(typed["means"]),
            said=form.said,
            next_on=typed["next_on"],
            note=typed["note"],
            one_more_attempt=typed["one_more_attempt"],
            at=at,
            by_id=member(request).pk,
        )
    except acts.MayNotEnd as against:
        form.tell(against.objections)
        return _show(request, row, form)
    stands = STANDING[standing_of(row, on=local_day(at)).answer.standing]
    said = f"{RECORDED[outcome]} for {patient.full_name}. It stands at: {stands}."
    messages.success(request, said, f"row-{row.pk}")
    return go_back(request, row)


def _show(request: HttpRequest, row: Assignment, form: TeachBackForm) -> HttpResponse:
    patient = row.operation.patient
    at, settings = now(), current()
    on = local_date(at, settings.zone)
    told = standing_of(row, on=on)
    known = reaching([patient.pk], zone=settings.zone).get(patient.pk, NOTHING_KNOWN)
    points = lines(acts.points_of(row), language=patient.language)
    context = {
        "a": row,
        "patient": patient,
        "told": told,
        "why": why(told, reached(told, at=at, zone=settings.zone)),
        "known": known,
        "title": titles().get(row.module_id, row.module.code),
        "points": list(zip(points, form.of_points, strict=True)),
        "missed": any(line.times for line in points),
        "form": form,
        "earlier": row.teach_backs.standing().select_related("by", "contact"),
        "too_early": row.opens_on is None or on < row.opens_on,
        "may_care": member(request).role in CARERS,
        "back": reverse("patient", args=[patient.pk]),
        "here": request.path,
        "on": on,
        "at": at,
        "zone": settings.zone,
        "programme": settings,
    }
    return render(request, "clinic/call_sheet.html", context, status=422 if form.is_bound else 200)


def _assignment(request: HttpRequest, pk: int, *, of: int | None = None) -> Assignment:
    rows = Assignment.objects.select_related("operation__patient", "operation__procedure", "module")
    if of is not None:
        rows = rows.filter(operation__patient=of)
    row = get_object_or_404(rows, pk=pk)
    about(request, row.operation.patient_id)
    return row
