"""Addresses to which nothing more goes: who has them, why, and how else they are reached."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.db.models import Case, Exists, OuterRef, QuerySet, Subquery, When
from django.db.models.functions import Lower

from clinic.day_words import short_day
from clinic.mail_words import WHY_MARKED
from education.addresses import marks_of
from education.models import AddressMark
from education.rules.delivery import ASKED_FOR_LESS, Why
from patients.clock import local_date
from patients.models import Contact, Operation, Outcome, Patient, latest_first

LISTED = 20  # rows on the morning list; all of them stand on the mail page


@dataclass(frozen=True)
class BadAddress:
    """One patient whose address is marked; `others` have the same address.

    `asked`: they asked for less, so the address may be right.
    """

    patient: Patient
    mark: AddressMark
    or_date: date | None
    why: str
    evidence: str
    asked: bool
    others: list[Patient]
    contact: str


def marked_addresses(email: str) -> QuerySet[AddressMark]:
    """The marks of the address in a field of the query around it, the gravest first."""
    asked = Case(When(why__in=ASKED_FOR_LESS, then=1), default=0)
    marks = AddressMark.objects.in_force().filter(address=Lower(OuterRef(email)))
    return marks.order_by(asked, "why", "id")


def with_marked_address(*, on: date | None = None) -> QuerySet[Patient]:
    """Patients on the register whose address is marked; with `on`: of a coming operation."""
    marked = Exists(marked_addresses("email"))
    found = Patient.objects.on_the_register().exclude(email="").filter(marked)
    if on is None:
        return found
    return found.filter(Exists(_coming(on)))


def bad_addresses(
    *, on: date, zone: ZoneInfo, coming: bool = True, limit: int | None = None
) -> list[BadAddress]:
    """Return the patients, the nearest operation first; `coming`: those with one to come alone."""
    contact = Contact.objects.filter(patient=OuterRef("pk")).order_by(*latest_first())
    found = (
        with_marked_address(on=on if coming else None)
        .annotate(
            next_or_date=Subquery(_coming(on).order_by("or_date").values("or_date")[:1]),
            contact_at=Subquery(contact.values("recorded_at")[:1]),
            contact_outcome=Subquery(contact.values("outcome")[:1]),
        )
        .order_by("next_or_date", "pk")[:limit]
    )
    return told_of(list(found), zone=zone)


def told_of(
    patients: Sequence[Patient], *, zone: ZoneInfo, known_at: datetime | None = None
) -> list[BadAddress]:
    """Say of patients what is wrong with their addresses; those without a mark are left out.

    With `known_at` what was known before that instant, without who else has the address.
    """
    if known_at is not None:
        then = _marks_then({one.email.lower() for one in patients}, known_at)
        marked = [one for one in patients if one.email.lower() in then]
        return [_told(one, then[one.email.lower()], [], zone) for one in marked]
    marks = marks_of({one.email for one in patients})
    shared: dict[str, list[Patient]] = {}
    everybody = Patient.objects.on_the_register().alias(_email=Lower("email"))
    for one in everybody.filter(_email__in=list(marks)).order_by("pk") if marks else ():
        shared.setdefault(one.email.lower(), []).append(one)
    return [
        _told(one, mark, shared.get(one.email.lower(), []), zone)
        for one in patients
        if (mark := marks.get(one.email.lower()))
    ]


def _told(
    patient: Patient, mark: AddressMark, sharing: Sequence[Patient], zone: ZoneInfo
) -> BadAddress:
    return BadAddress(
        patient=patient,
        mark=mark,
        or_date=getattr(patient, "next_or_date", None),
        why=WHY_MARKED[mark.why],
        evidence=_evidence(mark, zone),
        asked=mark.why in ASKED_FOR_LESS,
        others=[other for other in sharing if other.pk != patient.pk],
        contact=_contact(patient, mark, zone),
    )


def _marks_then(addresses: Collection[str], known_at: datetime) -> dict[str, AddressMark]:
    """The gravest mark of each address, as `education.addresses` weighs them."""
    rows = AddressMark.objects.in_force(known_at=known_at).filter(address__in=addresses)
    graver = sorted(
        rows.select_related("event"),
        key=lambda one: (one.why != Why.UNSUBSCRIBED, one.why not in ASKED_FOR_LESS, one.pk),
    )
    return {one.address: one for one in graver}


def _coming(on: date) -> QuerySet[Operation]:
    return Operation.objects.upcoming(on=on).filter(patient=OuterRef("pk"))


def _evidence(mark: AddressMark, zone: ZoneInfo) -> str:
    """When, by whom, and what was said: for whoever asks how we know."""
    when = short_day(local_date(mark.recorded_at, zone))
    event = mark.event
    if event is None:
        return f"since {when}; the mail server refused it"
    said = "; ".join(filter(None, [event.source, event.status, event.said]))
    return f"since {when}; {said}"


def _contact(patient: Patient, mark: AddressMark, zone: ZoneInfo) -> str:
    """The latest contact since the address was marked, in words."""
    at: datetime | None = getattr(patient, "contact_at", None)
    if at is None or at < mark.recorded_at:
        return ""
    outcome = Outcome(getattr(patient, "contact_outcome", "")).label
    return f"{outcome} {short_day(local_date(at, zone))}"
