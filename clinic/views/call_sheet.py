"""The call sheet: what to ask a patient on the phone, and room for what came of it."""

from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from clinic.access import about, member
from clinic.call_sheet import points
from clinic.forms.acts import ContactForm, TeachBackForm
from clinic.reach import reached
from clinic.roles import CARERS, READERS
from clinic.words import why
from education.models import Assignment
from education.standings import standing_of
from education.titles import titles
from patients.clock import local_date, now
from patients.models import Outcome
from patients.open_to import open_to
from patients.programme import current


@open_to(*READERS)
def call_sheet(request: HttpRequest, pk: int, assignment: int) -> HttpResponse:
    """Show the points a patient missed, with an open question for each, and the two outcomes."""
    try:
        return _show(request, pk, assignment)
    except DatabaseError:
        return render(request, "clinic/could_not_load.html", status=503)


def _show(request: HttpRequest, pk: int, assignment: int) -> HttpResponse:
    rows = Assignment.objects.select_related("operation__patient", "operation__procedure", "module")
    row = get_object_or_404(rows, pk=assignment, operation__patient=pk)
    patient = row.operation.patient
    about(request, patient.pk)
    at, settings = now(), current()
    on = local_date(at, settings.zone)
    told = standing_of(row, on=on)
    context = {
        "a": row,
        "patient": patient,
        "told": told,
        "why": why(told, reached(told, at=at, zone=settings.zone)),
        "title": titles().get(row.module_id, row.module.code),
        "points": points(row, language=patient.language),
        "teach_back": TeachBackForm(auto_id="understood_%s"),
        "not_yet": ContactForm(on=on, initial={"outcome": Outcome.REACHED}),
        "too_early": row.opens_on is None or on < row.opens_on,
        "may_care": member(request).role in CARERS,
        "back": reverse("patient", args=[patient.pk]),
        "on": on,
        "at": at,
        "zone": settings.zone,
        "programme": settings,
    }
    return render(request, "clinic/call_sheet.html", context)
