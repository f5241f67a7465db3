"""The morning digest: at her hour, on working days, once, never late, naming nobody (W10)."""

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import pytest
from django.core import mail
from django.urls import reverse

from clinic.digest import choose, hour_of, missed, write_digests
from clinic.models import DigestHour, StaffUser
from clinic.once import new_key
from education.rules.may_be_mailed import BEGINNINGS
from education.send import sweep
from patients.models import Patient
from tests.factories import a_member, a_programme, an_assignment, an_operation, signed_in

pytestmark = pytest.mark.django_db

CHICAGO = ZoneInfo("America/Chicago")
FRIDAY, MONDAY = date(2026, 7, 10), date(2026, 7, 13)


def local(day: date, hour: int, minute: int = 0) -> datetime:
    """An instant by the programme's clock."""
    return datetime.combine(day, time(hour, minute), tzinfo=CHICAGO).astimezone(UTC)


@pytest.fixture
def dietitian() -> StaffUser:
    """She switched it on for seven o'clock, a week before."""
    a_programme(at=local(date(2026, 7, 1), 9))
    member = a_member("dietitian")
    choose(member, 7, at=local(FRIDAY, 6))
    return member


def ask(*instants: datetime) -> list[str]:
    """Let schedulers ask at these instants and the sweep send; returns the subjects."""
    before = len(mail.outbox)
    for at in instants:
        write_digests(at=at)
        sweep(at=at)
    return [str(m.subject) for m in mail.outbox[before:]]


def test_once_a_working_day_at_her_hour(dietitian: StaffUser) -> None:
    a_member("clinician")  # who did not switch it on
    assert ask(local(FRIDAY, 6, 59)) == []
    assert ask(local(FRIDAY, 7), local(FRIDAY, 7, 5), local(FRIDAY, 12)) == ["Your morning summary"]
    assert mail.outbox[0].to == [dietitian.email]
    weekend = [local(date(2026, 7, day), hour) for day in (11, 12) for hour in (7, 9)]
    assert ask(*weekend) == []
    assert len(ask(local(MONDAY, 7))) == 1
    assert missed(dietitian, on=MONDAY) == []


def test_on_a_federal_holiday_there_is_none() -> None:
    """Independence Day 2026 is a Saturday and kept on Friday 3 July (5 U.S.C. 6103)."""
    a_programme(at=local(date(2026, 7, 1), 5))
    member = a_member("dietitian")
    choose(member, 7, at=local(date(2026, 7, 1), 6))
    assert [len(ask(local(date(2026, 7, day), 7))) for day in range(1, 7)] == [1, 1, 0, 0, 0, 1]
    assert missed(member, on=date(2026, 7, 6)) == []


def test_what_was_missed_is_not_sent_late_but_shown(dietitian: StaffUser) -> None:
    assert ask(local(FRIDAY, 8, 1)) == [], "more than an hour late"
    tuesday = date(2026, 7, 14)
    assert len(ask(local(tuesday, 7))) == 1, "nothing ran on Monday"
    assert missed(dietitian, on=tuesday) == [MONDAY, FRIDAY]
    page = signed_in(dietitian).get(reverse("own-page")).content.decode()
    assert "Not sent, because" not in page, "that is long ago today"


def test_one_that_was_held_over_the_day_is_withdrawn(dietitian: StaffUser) -> None:
    write_digests(at=local(FRIDAY, 7))
    assert not sweep(at=local(MONDAY, 6))


def test_w10_it_counts_and_names_nobody(dietitian: StaffUser) -> None:
    at = local(FRIDAY, 5)
    an_assignment(operation=an_operation(at=at, days_ahead=3), at=at)
    ask(local(FRIDAY, 7))
    text = str(mail.outbox[0].body)
    assert "Late: 1\n" in text
    assert text.count("http") == 1
    assert len(text.split()) <= 120
    patient = Patient.objects.get()
    for fact in (patient.given_names, patient.family_names, patient.mrn):
        assert fact not in text
    seen = f"{mail.outbox[0].subject} {text[:200]}".lower()
    assert not [word for word in BEGINNINGS if f" {word}" in seen]


def test_each_switches_it_on_and_off_for_herself() -> None:
    a_programme()
    member = a_member("coordinator")
    client = signed_in(member)
    for typed, hour in (("6", 6), ("6", 6), ("off", None)):
        client.post(reverse("own-page"), {"hour": typed, "act_key": new_key()})
        assert hour_of(member) == hour
    assert DigestHour.objects.count() == 2, "each change is a row, and no change is none"
    assert client.post(reverse("own-page"), {"hour": "3", "act_key": new_key()}).status_code == 400
