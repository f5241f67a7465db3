"""Download one patient's clearance record as PDF, CSV or FHIR."""

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.dateparse import parse_date
from django.views.decorators.http import require_safe

from clinic.access import about, member
from clinic.evidence.files import TYPES, content, file_name
from clinic.evidence.gather import gather
from clinic.patient_record import MergedThen, NotOnRecordThen
from clinic.roles import READERS
from patients.clock import now
from patients.models import Patient
from patients.open_to import open_to


@open_to(*READERS)
@require_safe
def clearance_record(request: HttpRequest, pk: int, form: str) -> HttpResponse:
    """Return the record as it is, or with ?on=YYYY-MM-DD as it stood at the end of that day."""
    patient = get_object_or_404(Patient, pk=pk)
    about(request, patient.pk)
    asked = request.GET.get("on", "").strip()
    request.trail_detail = {"on": asked[:10]}  # type: ignore[attr-defined]
    try:
        on = parse_date(asked) if asked else None
    except ValueError:
        on = None
    if asked and on is None:
        return _back(pk, asked)
    try:
        record = gather(patient, on=on, at=now(), by=member(request).name)
    except MergedThen as merged:
        query = {"on": asked} if asked else {}
        return redirect(reverse(f"clearance-record-{form}", args=[merged.speaker.pk], query=query))
    except NotOnRecordThen:
        return _back(pk, asked)
    response = HttpResponse(content(record, form), content_type=TYPES[form])
    response["Content-Disposition"] = f'attachment; filename="{file_name(record, form)}"'
    return response


def _back(pk: int, asked: str) -> HttpResponseRedirect:
    """To the patient's page, which says what is wrong with the day."""
    return HttpResponseRedirect(reverse("patient", args=[pk], query={"on": asked[:20]}))
