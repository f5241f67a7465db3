"""A mail service in place of a mail server, by django-anymail's own test back end and signals."""

import base64
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import requests
from anymail.exceptions import AnymailRecipientsRefused, AnymailRequestsAPIError
from anymail.signals import AnymailTrackingEvent, EventType, RejectReason, tracking
from django.core import mail as outbox
from django.test import Client
from pytest_django import Settings
from urllib3.exceptions import MaxRetryError, NewConnectionError

from education import hosted_events
from education.addresses import mark_of
from education.models import DeliveryEvent, Message, MessageState
from education.rules.delivery import Told, Why
from education.send import send
from patients.clock import now
from tests.factories import an_invitation

pytestmark = pytest.mark.django_db

SECRET = "service:twenty-letters-or-more"


@pytest.fixture(autouse=True)
def service(settings: Settings) -> Any:
    """A service that takes every message, and reports about them."""
    settings.EMAIL_BACKEND = "anymail.backends.test.EmailBackend"
    settings.MAIL_CHANNEL = "education.hosted_mail.ByHostedMail"
    settings.HOSTED_MAIL, settings.MAIL_EVENTS = "postmark", True
    settings.ANYMAIL = {"WEBHOOK_SECRET": SECRET, "IGNORE_UNSUPPORTED_FEATURES": True}
    hosted_events.connect()
    yield
    tracking.disconnect(dispatch_uid="hear-the-mail-service")


def a_message() -> Message:
    """An email that waits."""
    an_invitation()
    return Message.objects.get()


def test_it_is_sent_unwatched_and_keeps_what_the_service_calls_it() -> None:
    message = a_message()
    assert send(message.pk, at=now())
    message.refresh_from_db()
    assert (message.state, message.hosted_id) == (MessageState.SENT, "0")
    (sent,) = outbox.outbox
    params: dict[str, Any] = vars(sent)["anymail_test_params"]
    assert params["metadata"] == {"message": message.message_id}
    assert (params["track_opens"], params["track_clicks"]) == (False, False)
    assert sent.extra_headers["Message-ID"] == message.message_id


def _no_connection() -> requests.ConnectionError:
    reason = NewConnectionError(None, "refused")  # type: ignore[arg-type]
    return requests.ConnectionError(MaxRetryError(None, "/", reason))  # type: ignore[arg-type]


# what the service's library raises, and for which cause; what becomes of the message
TROUBLE: list[tuple[Exception, Exception | None, MessageState]] = [
    (AnymailRequestsAPIError(), requests.ConnectTimeout(), MessageState.WAITING),
    (AnymailRequestsAPIError(), _no_connection(), MessageState.WAITING),
    (AnymailRequestsAPIError(), requests.ReadTimeout(), MessageState.AMBIGUOUS),
    (AnymailRequestsAPIError(), requests.ConnectionError("aborted"), MessageState.AMBIGUOUS),
    (ZeroDivisionError(), None, MessageState.WAITING),
    (AnymailRecipientsRefused(), None, MessageState.FAILED),
]


def test_what_goes_wrong_with_the_service(monkeypatch: pytest.MonkeyPatch) -> None:
    message = a_message()
    for raised, cause, state in TROUBLE:

        def post(*args: Any, it: Any = raised, by: Any = cause, **kwargs: Any) -> None:
            raise it from by

        monkeypatch.setattr("anymail.backends.test.EmailBackend.post_to_esp", post)
        Message.objects.update(state=MessageState.WAITING, tries=0, next_try_at=now())
        assert not send(message.pk, at=now())
        message.refresh_from_db()
        assert message.state == state, (raised, cause)
    assert mark_of(message.address), "the service refused the address"


def event(kind: str, message: Message, **facts: Any) -> AnymailTrackingEvent:
    """A report of the service."""
    said = {"event_id": None, "timestamp": now(), "message_id": message.hosted_id, **facts}
    return AnymailTrackingEvent(event_type=kind, recipient=message.address, **said)


def signal(one: AnymailTrackingEvent) -> None:
    """Report it, as the webhook does."""
    tracking.send(sender=None, event=one, esp_name="Test")


def test_b6_reports_come_in_any_order_and_more_than_once() -> None:
    message = a_message()
    send(message.pk, at=now())
    message.refresh_from_db()
    bounced = event(EventType.BOUNCED, message, mta_response="550 5.1.1 no such user")
    early = event(
        EventType.DEFERRED, message, message_id="", metadata={"message": message.message_id}
    )
    for one in (early, bounced, bounced, event(EventType.DELIVERED, message)):
        signal(one)
    for passed_over in (EventType.OPENED, EventType.CLICKED, EventType.UNKNOWN):
        signal(event(passed_over, message))
    message.refresh_from_db()
    assert (message.state, message.problem) == (MessageState.FAILED, "it came back (5.1.1)")
    kinds = DeliveryEvent.objects.values_list("kind", flat=True)
    assert list(kinds) == [Told.DELAYED, Told.BOUNCED, Told.DELIVERED]
    mark = mark_of(message.address)
    assert mark
    assert mark.why == Why.NO_MAILBOX
    signal(event(EventType.BOUNCED, message, message_id="of nobody's"))
    assert DeliveryEvent.objects.get(message=None).kind == Told.BOUNCED, "counted"


# what the service reports, what it is kept as
KINDS: list[tuple[str, dict[str, Any], Told]] = [
    (EventType.BOUNCED, {"mta_response": "smtp; 452 4.2.2 over quota"}, Told.GAVE_UP),
    (EventType.BOUNCED, {"reject_reason": RejectReason.TIMED_OUT}, Told.GAVE_UP),
    (EventType.BOUNCED, {}, Told.BOUNCED),
    (EventType.REJECTED, {"reject_reason": RejectReason.INVALID}, Told.REJECTED),
    (EventType.REJECTED, {"reject_reason": RejectReason.SPAM}, Told.COMPLAINED),
    (EventType.REJECTED, {"reject_reason": RejectReason.UNSUBSCRIBED}, Told.UNSUBSCRIBED),
    (EventType.FAILED, {}, Told.GAVE_UP),
    (EventType.COMPLAINED, {}, Told.COMPLAINED),
    (EventType.UNSUBSCRIBED, {}, Told.UNSUBSCRIBED),
]


def test_what_each_report_is_kept_as() -> None:
    message = a_message()
    for number, (kind, facts, told) in enumerate(KINDS):
        signal(event(kind, message, event_id=str(number), **facts))
        assert DeliveryEvent.objects.latest("pk").kind == told, (kind, facts)


def test_the_webhook_is_closed_without_a_secret_and_asks_for_it(settings: Settings) -> None:
    """The report is one of a service's documented format; its reader is the library's."""
    message = a_message()
    send(message.pk, at=now())
    body = {
        "RecordType": "Bounce",
        "Type": "HardBounce",
        "ID": 692560173,
        "MessageID": "of the service's own",
        "Metadata": {"message": message.message_id},
        "Email": message.address,
        "Description": "The server was unable to deliver your message (ex: unknown user).",
        "Details": "smtp;550 5.1.1 The email account does not exist.",
        "BouncedAt": (datetime.now(UTC) + timedelta(minutes=1)).isoformat(),
    }

    def post(secret: str) -> int:
        by = base64.b64encode(secret.encode()).decode()
        client = Client(headers={"authorization": f"Basic {by}"})
        return client.post("/mail/events/", body, content_type="application/json").status_code

    settings.MAIL_EVENTS = False
    assert post(SECRET) == 404
    settings.MAIL_EVENTS = True
    assert post("service:somebody-elses-secret") == 400
    assert not DeliveryEvent.objects.exists()
    assert [post(SECRET), post(SECRET)] == [200, 200]
    assert DeliveryEvent.objects.get().message == message
    message.refresh_from_db()
    assert message.state == MessageState.FAILED
