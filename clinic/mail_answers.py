"""What people wrote back, mails that no machine can read, and what machines replied by themselves:
for staff, and for nobody else.
"""

from dataclasses import dataclass
from datetime import datetime

from django.core.paginator import Page, Paginator
from django.db.models import Exists, OuterRef
from django.db.models.functions import Lower

from education.models import ReceivedMail, ReceivedSettled
from education.rules.incoming_mail import Kind
from patients.models import Patient

ROWS = 25


@dataclass(frozen=True)
class AnswerRow:
    """One mail; `people`: whose it may be. `certain`: it answers an email that we sent them."""

    received: ReceivedMail
    people: list[Patient]
    certain: bool
    settled: bool

    @property
    def is_answer(self) -> bool:
        """Whether somebody wrote it, as far as that can be told."""
        return self.received.kind == Kind.ANSWER


def answers(number: str | None, *, settled: bool) -> tuple[Page[ReceivedMail], list[AnswerRow]]:
    """Return one page of the mails to look at, or of those dealt with, the latest first."""
    found = ReceivedMail.objects.to_look_at()
    if settled:
        latest = ReceivedSettled.objects.filter(received=OuterRef("pk"))
        found = ReceivedMail.objects.for_people().filter(Exists(latest))
        found = found.exclude(pk__in=ReceivedMail.objects.to_look_at().values("pk"))
    listed = found.select_related("message__patient").order_by("-recorded_at", "-id")
    page = Paginator(listed, ROWS).get_page(number)
    by_address = _by_address({one.from_address for one in page.object_list})
    return page, [_row(one, by_address, settled=settled) for one in page.object_list]


def automatic(*, since: datetime) -> list[AnswerRow]:
    """Return the latest automatic replies to emails of ours, of a page at most.

    Nobody wrote them, so nobody has to deal with them; “away until Monday” explains a silence.
    """
    found = ReceivedMail.objects.filter(
        kind=Kind.AUTOMATIC, message__patient__isnull=False, recorded_at__gte=since
    )
    listed = list(found.select_related("message__patient").order_by("-recorded_at", "-id")[:ROWS])
    return [_row(one, {}, settled=False) for one in listed]


def _row(
    received: ReceivedMail, by_address: dict[str, list[Patient]], *, settled: bool
) -> AnswerRow:
    """An email of ours that it answers says whose it is; the address only who it may be."""
    patient = received.message.patient if received.message else None
    sharing = by_address.get(received.from_address, [])
    people = [patient] if patient else sharing
    # Whoever reads a mailbox together answers each other's emails.
    certain = patient is not None and all(one.pk == patient.pk for one in sharing)
    return AnswerRow(received, people, certain, settled)


def _by_address(addresses: set[str]) -> dict[str, list[Patient]]:
    found: dict[str, list[Patient]] = {}
    everybody = Patient.objects.on_the_register().alias(_email=Lower("email"))
    for one in everybody.filter(_email__in=addresses - {""}).order_by("pk"):
        found.setdefault(one.email.lower(), []).append(one)
    return found
