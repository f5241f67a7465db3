"""What came back by email, for a patient's history."""

from collections.abc import Collection, Iterator
from datetime import datetime

from clinic.mail_words import TOLD, WHY_MARKED
from education.models import AddressMark, DeliveryEvent, ReceivedMail
from education.rules.incoming_mail import Kind

CAME: dict[str, str] = {
    Kind.ANSWER: "answered by email",
    Kind.AUTOMATIC: "automatic reply to an email, written by nobody",
}
# When, what, in detail, who.
Told = tuple[datetime, str, str, str]


def told_of(records: Collection[int]) -> Iterator[Told]:
    """Yield reports about a patient's emails, marks of their address, and what they wrote back."""
    for event in DeliveryEvent.objects.filter(message__patient__in=records):
        detail = " ".join(filter(None, [event.status, event.said]))
        yield event.recorded_at, TOLD[event.kind], detail, event.source
    marks = AddressMark.objects.filter(patient__in=records)
    for mark in marks.select_related("end__by"):
        yield mark.recorded_at, "nothing more goes to the address", _why(mark), ""
        if hasattr(mark, "end"):
            detail = f"{mark.address}. Reason: {mark.end.reason}"
            yield mark.end.recorded_at, "address tried again", detail, mark.end.by.name
    written = ReceivedMail.objects.filter(kind__in=CAME, message__patient__in=records)
    for one in written:
        yield one.recorded_at, CAME[one.kind], one.subject, one.from_address


def _why(mark: AddressMark) -> str:
    return f"{mark.address}: {WHY_MARKED[mark.why]}"
