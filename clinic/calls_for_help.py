"""Patients whom the surgeon's office is asked to help reach, for the pages about operations."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import F

from education.models import Escalation
from patients.models import Operation, Patient


@dataclass(frozen=True)
class CallForHelp:
    """One patient, since when, and the next operation that is still open, if there is one."""

    patient: Patient
    asked: Escalation
    operation: Operation | None


def calls_for_help(*, on: date) -> list[CallForHelp]:
    """Return all of them, the nearest operation first."""
    rows = Escalation.objects.filter(end__isnull=True).select_related("patient__merged_into", "by")
    asked = {
        (row.patient.merged_into or row.patient): row
        for row in rows.order_by("-recorded_at", "-id")
    }
    if not asked:
        return []
    coming = _next_operations(asked, on=on)
    found = [CallForHelp(who, row, coming.get(who.pk)) for who, row in asked.items()]
    return sorted(found, key=_nearest)


def _next_operations(patients: Iterable[Patient], *, on: date) -> dict[int, Operation]:
    rows = Operation.objects.upcoming(on=on).filter(patient__in=list(patients))
    latest_first = rows.order_by(F("or_date").desc(nulls_first=True), "-id")
    return {row.patient_id: row for row in latest_first.select_related("procedure")}


def _nearest(call: CallForHelp) -> tuple[date, int]:
    or_date = call.operation.or_date if call.operation else None
    return or_date or date.max, call.asked.pk
