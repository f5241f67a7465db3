"""Hear what a mail service reports of our emails, by django-anymail's tracking signal."""

from datetime import datetime
from typing import Any

from anymail.signals import AnymailTrackingEvent, EventType, RejectReason, tracking
from django.db.models import Q

from education.deliveries import Report, hear
from education.hosted_mail import ROW
from education.models import Message
from education.rules.delivery import Told, class_of, status_in
from patients.clock import now

KINDS = {
    EventType.DELIVERED: Told.DELIVERED,
    EventType.DEFERRED: Told.DELAYED,
    EventType.BOUNCED: Told.BOUNCED,
    EventType.REJECTED: Told.REJECTED,
    EventType.FAILED: Told.GAVE_UP,
    EventType.COMPLAINED: Told.COMPLAINED,
    EventType.UNSUBSCRIBED: Told.UNSUBSCRIBED,
}
# What a service that rejects says of its reason, where that is not the address itself.
_BY_REASON = {
    RejectReason.TIMED_OUT: Told.GAVE_UP,
    RejectReason.SPAM: Told.COMPLAINED,
    RejectReason.UNSUBSCRIBED: Told.UNSUBSCRIBED,
}


def connect() -> None:
    """Listen; called once when the app is ready, if a mail service is set."""
    tracking.connect(heard, dispatch_uid="hear-the-mail-service")


def heard(sender: Any, event: AnymailTrackingEvent, esp_name: str, **kwargs: Any) -> None:
    """Take in one report; what says nothing about delivery (opened, clicked) is passed over."""
    take_event(event, source=esp_name, at=now())


def take_event(event: AnymailTrackingEvent, *, source: str, at: datetime) -> bool:
    """Keep a report, and let follow what has to. False: it was heard before, or says nothing."""
    kind = KINDS.get(event.event_type)
    if kind is None:
        return False
    said = str(event.mta_response or event.description or "")
    status = status_in(said)
    if kind == Told.BOUNCED and class_of(status) == 4:
        kind = Told.GAVE_UP
    if kind in (Told.BOUNCED, Told.REJECTED):
        kind = _BY_REASON.get(event.reject_reason, kind)
    same = (event.event_id,) if event.event_id else (event.message_id, event.timestamp)
    report = Report(
        kind=kind,
        key=(source, kind, *(str(one) for one in same), str(event.recipient).lower()),
        source=source,
        status=status,
        said=said,
        happened_at=event.timestamp,
    )
    return hear(report, _one_of_ours(event), at=at)


def _one_of_ours(event: AnymailTrackingEvent) -> Message | None:
    ours = Q(message_id__in=[str((event.metadata or {}).get(ROW, "")), str(event.message_id)])
    if event.message_id:
        ours |= Q(hosted_id=str(event.message_id))
    return Message.objects.filter(ours).order_by("pk").first()
