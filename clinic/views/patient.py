"""A patient's page: who, which operations, how each module stands, and the whole history."""

from datetime import date, datetime

from django.contrib import messages
from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from clinic.access import about, member
from clinic.patient_record import MergedThen, NotOnRecordThen, Record, read
from clinic.roles import CARERS, CLINICIANS, READERS, REGISTRARS
from patients.clock import now
from patients.models import Patient
from patients.open_to import open_to

RECORD_FORMS = (("pdf", "PDF"), ("csv", "CSV"), ("fhir", "FHIR"))


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
            record, not_then = _read(patient, on=on, at=at)
        except MergedThen as merged:
            messages.info(request, f"MRN {patient.mrn} was merged into this record.")
            query = f"?on={on.isoformat()}" if on else ""
            address = reverse("patient", args=[merged.speaker.pk])
            return HttpResponseRedirect(f"{address}{query}")
        problem = problem or not_then
        if on and on > record.today:
            problem = "That day is still to come. This is how the record stands today."
        role = member(request).role
        context = {
            "record": record,
            "patient": patient,
            "on": record.on,
            "zone": record.programme.zone,
            "problem": problem,
            "record_forms": RECORD_FORMS,
            "may_care": role in CARERS and not record.past,
            "may_sign_off": role in CLINICIANS and not record.past,
            "may_decide": role in REGISTRARS and not record.past,
            "may_merge": role in REGISTRARS and not record.past,
            "here": request.path,
            "at": at,
        }
        return render(request, "clinic/patient.html", context)
    except DatabaseError:
        return render(request, "clinic/could_not_load.html", status=503)


def _read(patient: Patient, *, on: date | None, at: datetime) -> tuple[Record, str]:
    """Return the record, and what to say when it was not on record on the day asked about."""
    try:
        return read(patient, on=on, at=at), ""
    except NotOnRecordThen:
        return read(patient, on=None, at=at), "Not on the register on that day."


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None
