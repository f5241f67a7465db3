"""Gather the contacts and teach-backs of a clearance record."""

from collections.abc import Collection
from datetime import datetime

from clinic.evidence.record import Act, Contacted, PointSaid, TaughtBack
from education.models import TeachBack, TeachBackPoint
from patients.models import Contact
from patients.rules.languages import SOURCE_LANGUAGE


def contacts_of(records: Collection[int], known_at: datetime | None) -> tuple[Contacted, ...]:
    """Return the attempts to reach the patient, those that were corrected too."""
    rows = Contact.objects.filter(patient__in=records)
    if known_at is not None:
        rows = rows.filter(recorded_at__lt=known_at)
    return tuple(
        Contacted(
            id=row.pk,
            made=Act(row.recorded_at, str(row.by), row.note),
            means=row.means,
            outcome=row.outcome,
            made_at=row.at,
            next_on=row.next_on,
            corrected=_corrected(row, known_at),
        )
        for row in rows.select_related("by", "correction__by").order_by("recorded_at", "id")
    )


def teach_backs_of(records: Collection[int], known_at: datetime | None) -> tuple[TaughtBack, ...]:
    """Return the teach-backs, those too that were said not to have taken place."""
    rows = TeachBack.objects.filter(patient__in=records)
    if known_at is not None:
        rows = rows.filter(recorded_at__lt=known_at)
    related = ("by", "edition__module", "contact__correction__by")
    listed = rows.select_related(*related).prefetch_related("points__question")
    return tuple(_taught_back(row, known_at) for row in listed.order_by("recorded_at", "id"))


def _taught_back(row: TeachBack, known_at: datetime | None) -> TaughtBack:
    return TaughtBack(
        id=row.pk,
        made=Act(row.recorded_at, str(row.by), row.contact.note),
        requirement_id=row.assignment_id,
        module=row.edition.module.code,
        title=row.edition.title[SOURCE_LANGUAGE],
        edition=row.edition.number,
        means=row.contact.means,
        outcome=row.outcome,
        next_on=row.contact.next_on,
        one_more_attempt=row.one_more_attempt,
        clearance_id=row.clearance_id,
        points=tuple(_point(one) for one in row.points.all()),
        never=_corrected(row.contact, known_at),
    )


def _point(row: TeachBackPoint) -> PointSaid:
    question = row.question
    return PointSaid(
        key=question.key,
        name=question.name,
        stem=question.stem[SOURCE_LANGUAGE],
        safety_critical=question.safety_critical,
        missed=row.missed,
        asked=row.asked.get(SOURCE_LANGUAGE, ""),
        said=row.said,
        understood=row.understood,
    )


def _corrected(contact: Contact, known_at: datetime | None) -> Act | None:
    correction = getattr(contact, "correction", None)
    if correction is None or (known_at is not None and correction.recorded_at >= known_at):
        return None
    return Act(correction.recorded_at, str(correction.by), correction.reason)
