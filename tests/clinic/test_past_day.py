"""The page of a past day is the page that there was when that day was today (promise C5).

A made-up story, something on each day; at the end of each day the page is written down as an
auditor, who is offered no act, reads it. When the story is over, each day is asked again.
"""

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from html import unescape
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from education.answer import answer
from education.clear import revoke, revoke_sign_off, revoke_waiver, sign_off, waive
from education.deliveries import Report, hear
from education.identify import match, undo
from education.invite import Refusal, invite, take_back
from education.models import (
    Assignment,
    Clearance,
    Invitation,
    Message,
    SignOff,
    Submission,
    Waiver,
)
from education.rules.asking import Means as By
from education.rules.delivery import Told
from education.send import sweep
from education.take import begin
from education.try_again import try_again
from patients.clock import end_of_day
from patients.contact import correct_contact, log_contact
from patients.merge import merge, undo_merge
from patients.models import Booking, Contact, Means, Merge, Operation, Outcome, Patient
from patients.register import correct
from patients.schedule import change, move
from tests.education.short_module import a_short_edition, short_module, take
from tests.factories import (
    a_member,
    a_patient,
    a_programme,
    a_question,
    an_assignment,
    an_operation,
    signed_in,
)
from tests.which_database import ON_POSTGRES

pytestmark = pytest.mark.django_db

FIRST = date(2026, 3, 1)  # US daylight saving begins on the 8th
# Each day is read on SQLite. What both databases are asked is the same, whatever the day.
EVERY = 4 if ON_POSTGRES else 1
OR_DATE = date(2026, 4, 10)
TODAY_ALONE = re.compile(
    r'<div class="next">.*?</div>|<small class="call-for.*?</small>'
    r'|<p class="notice">As it stood.*?</p>'
    r'|<form class="as-of".*?</form>|<p class="print-only">.*?</p>|<span class="unsigned.*?</span>'
    r'|<p class="notice">Another record may be.*?</p>',
    re.DOTALL,
)


RENAMED = replace(short_module("sips"), title={"en": "Small sips"})


class Story:
    """What happens on each day."""

    def __init__(self, by: int) -> None:
        self.by = by

    @property
    def ana(self) -> Patient:
        return Patient.objects.get(mrn="ANA-1")

    @property
    def operation(self) -> Operation:
        return Operation.objects.order_by("id")[0]

    @property
    def here(self) -> Assignment:
        return Assignment.objects.get(operation=self.operation)

    @property
    def link(self) -> Invitation:
        return Invitation.objects.order_by("-id")[0]

    def invite(self, at: datetime) -> None:
        assert not isinstance(invite(self.here, at=at, by_id=self.by), Refusal)

    def move(self, to: date | None, at: datetime) -> None:
        move(self.operation, to, at=at)

    def bounced(self, at: datetime) -> None:
        failed = Report(Told.BOUNCED, ("1",), "mailbox", status="5.1.1", happened_at=at)
        assert hear(failed, Message.objects.order_by("-id")[0], at=at)

    def quiz(self, at: datetime) -> None:
        take(self.link, "11111", at=at, given_names="Annamaria")

    def ask(self, at: datetime) -> None:
        answer(a_question(self.link, at=at), By.EMAIL, "Yes.", seen=0, at=at, by_id=self.by)

    def other_record(self, at: datetime) -> None:
        other = a_patient(at=at, mrn="ANA-2", given_names="Ana", family_names="Osei", email="")
        an_operation(patient=other, at=at, or_date=OR_DATE, case_number="C-2")

    def merge(self, at: datetime) -> None:
        other = Patient.objects.get(mrn="ANA-2")
        merge(kept=self.ana, merged=other, reason="one person", at=at, by_id=self.by)

    def days(self) -> list[tuple[Callable[[datetime], object], ...]]:
        by: dict[str, Any] = {"by_id": self.by}
        called: dict[str, Any] = {"means": Means.CALL, "outcome": Outcome.LEFT_A_MESSAGE, **by}
        return [
            (self.invite,),
            (lambda at: sweep(at=at), lambda at: log_contact(self.ana, at=at, **called)),
            (self.bounced, self.other_record),
            (
                lambda at: try_again("ana@example.org", reason="asked her", at=at, **by),
                lambda at: correct_contact(
                    Contact.objects.get(), instead=None, reason="another's", at=at, **by
                ),
            ),
            (lambda at: sweep(at=at), self.merge),
            (lambda at: correct(self.ana, at=at, source="call", email="ana.o@example.org"),),
            (self.invite, lambda at: correct(self.ana, at=at, source="x", phone="312 555 0190")),
            (
                lambda at: take_back(self.link, at=at, **by),
                lambda at: undo_merge(Merge.objects.get(), reason="two", at=at, **by),
            ),
            (self.invite, lambda at: sweep(at=at)),
            (self.ask, lambda at: correct(self.ana, at=at, source="x", family_names="Osei")),
            (lambda at: sweep(at=at), lambda at: begin(self.link, at=at)),
            (self.quiz,),
            (
                lambda at: match(Submission.objects.get(), self.ana, at=at, **by),
                lambda at: waive(self.here, reason="taught on the ward", at=at, **by),
            ),
            (
                lambda at: undo(Submission.objects.get(), at=at, reason="a slip", **by),
                lambda at: revoke_waiver(Waiver.objects.get(), reason="was not", at=at, **by),
            ),
            (
                lambda at: match(Submission.objects.get(), self.ana, at=at, **by),
                lambda at: self.move(date(2026, 3, 19), at),
            ),
            (lambda at: sign_off(self.here, reason="heard it", at=at, **by),),
            (
                lambda at: revoke_sign_off(SignOff.objects.get(), reason="no", at=at, **by),
                lambda at: self.move(OR_DATE, at),
            ),
            (lambda at: a_short_edition(at=at, text=RENAMED, earlier_clearances_count=False),),
            (
                lambda at: revoke(Clearance.objects.order_by("-id")[0], reason="no", at=at, **by),
                lambda at: change(self.operation, at=at, booking=Booking.CANCELLED),
            ),
            (lambda at: change(self.operation, at=at, booking=Booking.PROPOSED),),
        ]


def page(client: Client, patient: Patient, on: date | None = None) -> str:
    query = f"?on={on.isoformat()}" if on else ""
    response = client.get(reverse("patient", args=[patient.pk]) + query, follow=True)
    main = response.content.decode().partition("<main")[2].partition("</main>")[0]
    text = re.sub(r"<[^>]+>", " ", TODAY_ALONE.sub("", main))
    return re.sub(r"\s+", " ", unescape(text).replace("asked about", "today"))


def test_each_past_day_shows_the_page_that_there_was() -> None:
    zone = a_programme(at=datetime(2026, 1, 1, tzinfo=UTC)).zone
    begun = datetime.combine(FIRST, time(12), zone)
    with time_machine.travel(begun, tick=False):
        auditor, clinician = a_member("auditor"), a_member("clinician")
        ana = a_patient(mrn="ANA-1", given_names="Ana", email="ana@example.org")
        operation = an_operation(patient=ana, days_ahead=None, or_date=OR_DATE)
        module = a_short_edition(at=begun).module
        an_assignment(operation=operation, module=module, opens_days=-40)
    diary: dict[date, str] = {}
    for number, acts in enumerate(Story(clinician.pk).days(), start=1):
        on = FIRST + timedelta(days=number)
        late = end_of_day(on, zone) - timedelta(minutes=1)
        with time_machine.travel(late, tick=False):
            for act in acts:
                act(late)
            if number % EVERY == 0:
                diary[on] = page(signed_in(auditor), ana)
    with time_machine.travel(late + timedelta(days=30), tick=False):
        client = signed_in(auditor)
        told = {on: page(client, ana, on) for on in diary}
    differing = [first_difference(diary[on], told[on], on) for on in diary if told[on] != diary[on]]
    assert not differing, "\n".join(differing)
    assert len(set(diary.values())) == len(diary), "a day on which nothing could be seen"


def first_difference(was: str, told: str, on: date) -> str:
    at = next((i for i, (a, b) in enumerate(zip(was, told, strict=False)) if a != b), len(was))
    there = slice(max(0, at - 80), at + 80)
    return f"{on}: was …{was[there]}… told …{told[there]}…"
