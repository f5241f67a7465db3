"""What is on record about reaching patients: the latest contact, and help that was asked for."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from django.db.models import Q

from education.escalate import open_escalations
from education.rules.contact_wanted import NO_CONTACTS, Contacts
from patients.clock import local_date
from patients.models import Contact, Outcome, Patient


@dataclass(frozen=True)
class Help:
    """The surgeon's office is asked to help: since when, after how many messages."""

    since: datetime
    messages: int


@dataclass(frozen=True)
class Reaching:
    """Of one patient; `contacts` is what the rules want to know of them."""

    latest: Contact | None = None
    contacts: Contacts = NO_CONTACTS
    escalation: Help | None = None


NOTHING_KNOWN = Reaching()


def reaching(
    patients: Collection[int], *, zone: ZoneInfo, helped: Mapping[int, Help] | None = None
) -> dict[int, Reaching]:
    """Return it by patient, in two queries; who is not there was never called.

    `helped`: for whom help is asked, where the caller has read it; then it is one query.
    """
    records = Patient.objects.filter(Q(pk__in=patients) | Q(merged_into__in=patients))
    rows = Contact.objects.standing().filter(patient__in=records.values("pk"))
    made: dict[int, list[Contact]] = {}
    for row in rows.select_related("patient").latest_first():
        made.setdefault(row.patient.merged_into_id or row.patient_id, []).append(row)
    if helped is None:
        helped = {
            pk: Help(one.recorded_at, one.messages)
            for pk, one in open_escalations(patients).items()
        }
    return {
        pk: Reaching(
            latest=made[pk][0] if pk in made else None,
            contacts=_contacts(made.get(pk, ()), zone),
            escalation=helped.get(pk),
        )
        for pk in made.keys() | helped.keys()
    }


def _contacts(latest_first: Iterable[Contact], zone: ZoneInfo) -> Contacts:
    listed = list(latest_first)
    spoken = (local_date(one.at, zone) for one in listed if one.outcome == Outcome.REACHED)
    return Contacts(next_on=listed[0].next_on if listed else None, reached_on=next(spoken, None))
