"""The patient renews an expired link: to the address on file, and nobody is told anything."""

from datetime import timedelta

import pytest
from django.test import Client

from education.clear import waive
from education.models import Invitation, Message, MessageState
from education.renew import MOST_IN_A_WEEK, renew
from patients import programme
from patients.clock import now
from patients.register import correct
from patients.schedule import change
from tests.factories import a_member, an_invitation

pytestmark = pytest.mark.django_db

OLD = timedelta(days=61)  # a link is good for 60
DAY = timedelta(days=1)


def expired() -> tuple[Invitation, str, Client]:
    """A patient with a link that is too old today."""
    invitation, token = an_invitation(at=now() - OLD)
    Message.objects.update(state=MessageState.SENT, sent_at=now() - OLD)
    change(invitation.assignment.operation, at=now(), or_date=now().date() + timedelta(days=30))
    return invitation, token, Client()


def ask(client: Client, token: str) -> tuple[int, str, bytes]:
    """Press the button, and follow where it leads."""
    answer = client.post(f"/q/{token}/renew/?l=es", {"renew": "yes"})
    page = client.get(answer["Location"])
    return answer.status_code, answer["Location"].replace(token, "TOKEN"), page.content


def test_the_page_of_an_expired_link_offers_a_new_one_and_opening_it_sends_nothing() -> None:
    _, token, client = expired()
    page = client.get(f"/q/{token}/")
    assert page.status_code == 410
    assert f'action="/q/{token}/renew/"' in page.content.decode()
    client.get(f"/q/{token}/renew/")
    client.post(f"/q/{token}/renew/", {})  # a mail scanner's empty form (fault 2)
    assert Message.objects.count() == 1


def test_it_goes_to_the_address_on_file_and_the_old_link_ends() -> None:
    invitation, token, client = expired()
    ask(client, token)
    new = Message.objects.get(state=MessageState.WAITING)
    assert (new.address, new.purpose) == (invitation.address, "renewal")
    assert Invitation.objects.get(pk=invitation.pk).end.because == "replaced"


def test_the_answer_is_the_same_whether_or_not_something_was_sent() -> None:
    answers = set()
    for what in ("sent", "again", "cleared", "cancelled", "readdressed", "good"):
        invitation, token, client = expired()
        assignment, sent = invitation.assignment, Message.objects.count()
        if what == "again":
            ask(client, token)
            sent += 1
        if what == "cleared":
            waive(assignment, reason="x", at=now(), by_id=a_member("clinician").pk)
        if what == "cancelled":
            change(assignment.operation, at=now(), booking="cancelled")
        if what == "readdressed":
            correct(assignment.operation.patient, at=now(), source="x", email="new@example.org")
        if what == "good":
            _, token = an_invitation(assignment=assignment)
            sent += 1
        answers.add(ask(client, token))
        assert Message.objects.count() == sent + (what == "sent"), what
    assert len(answers) == 1
    page = answers.pop()[2].decode()
    assert invitation.address not in page
    assert "Mire en su correo" in page


def test_an_unknown_link_is_not_found_as_everywhere() -> None:
    expired()
    answer = Client().post("/q/no-such-token/renew/", {"renew": "yes"})
    assert answer.status_code == 404


def test_it_is_bounded_whatever_expires_in_between() -> None:
    invitation, token, _ = expired()
    programme.change(at=now(), by_id=a_member("administrator").pk, link_valid_days=1)
    sent = 0
    for day in range(5):
        at = now() + day * DAY
        sent += renew(token, at=at)
        assert not renew(token, at=at)
        _, token = an_invitation(assignment=invitation.assignment, at=at)
    assert sent == MOST_IN_A_WEEK
