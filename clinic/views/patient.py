"""A patient's page: who, which operations, how each module stands, and the whole history."""

from datetime import date

from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from clinic.access import about, member
from clinic.patient_record import NotOnRecordThen, read
from clinic.roles import CARERS, CLINICIANS, READERS, REGISTRARS
from patients.clock import now
from patients.models import Patient
from patients.open_to import open_to


@open_to(*READERS)
def patient_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the record as it is, or with ?on=YYYY-MM-DD as it stood at the end of that day."""
    try:
        patient = get_object_or_404(Patient, pk=pk)
        about(request, patient.pk)
        at = now()
        asked = request.GET.get("on", "").strip()
        on = _day(asked)
        problem = "This is not a day: use year, month and day." if asked and on is None else ""
        try:
            record = read(patient, on=on, at=at)
        except NotOnRecordThen:
            record, problem = read(patient, on=None, at=at), "Not on the register on that day."
        if on and on > record.today:
            problem = "That day is still to come. This is how the record stands today."
        role = member(request).role
        context = {
            "record": record,
            "patient": patient,
            "on": record.on,
            "zone": record.programme.zone,
            "problem": problem,
            "may_care": role in CARERS and not record.past,
            "may_sign_off": role in CLINICIANS and not record.past,
            "may_merge": role in REGISTRARS and not record.past,
            "here": request.path,
            "at": at,
        }
        return render(request, "clinic/patient.html", context)
    except DatabaseError:
        return render(request, "clinic/could_not_load.html", status=503)


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None
