"""A past day's answer can be asked again and is unchanged by what came later (promise C5).

A made-up history of two patients is played day by day through the acts. At the end of each day
every standing is written down as it is told then; when the history is over, each day is asked
again.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

import pytest

from education import teach_back
from education.assign import require
from education.clear import clear_by_teach_back, revoke, revoke_waiver, sign_off, waive
from education.identify import match, not_a_patient, undo
from education.invite import Refusal, invite
from education.models import (
    Assignment,
    Clearance,
    Invitation,
    Module,
    Submission,
    TeachBack,
    Waiver,
)
from education.rules.standing import Answer, Reason, Standing
from education.rules.teach_back import TeachBackOutcome
from education.standings import standings, standings_as_of, standings_at
from education.take import begin
from patients import programme
from patients.clock import end_of_day
from patients.models import Booking, Means, Operation, Patient
from patients.register import correct
from patients.schedule import change, move
from tests.education.short_module import a_short_edition, short_module, take
from tests.factories import a_patient, a_procedure, a_programme, an_operation

pytestmark = pytest.mark.django_db

FIRST = date(2026, 3, 1)  # US daylight saving begins on the 8th
DAYS = 46
LONG_BEFORE = datetime(2026, 1, 1, tzinfo=UTC)
Diary = dict[date, dict[int, Answer]]


def day(number: int) -> date:
    """Return a day of the history."""
    return FIRST + timedelta(days=number)


@dataclass
class Acts:
    """What happens, one act a day. Records are looked up anew, as a page does."""

    by: int

    def patient(self, name: str) -> Patient:
        return Patient.objects.get(given_names=name)

    def operation(self, name: str) -> Operation:
        return Operation.objects.get(patient__given_names=name)

    def before(self, name: str) -> Assignment:
        return Assignment.objects.get(operation__patient__given_names=name, module__code="sips")

    def link(self, name: str) -> Invitation:
        of = Invitation.objects.filter(assignment=self.before(name))
        return of.order_by("-id")[0]

    def passed(self) -> Submission:
        return Submission.objects.filter(passed=True).order_by("-id")[0]

    def enrol(self, name: str, or_date: date | None, at: datetime) -> None:
        an_operation(patient=a_patient(at=at, given_names=name), at=at, or_date=or_date)

    def require(self, code: str, opens: int, clear_by: int, at: datetime) -> None:
        module = Module.objects.get(code=code)
        require(a_procedure(), module, opens_days=opens, clear_by_days=clear_by, at=at)

    def invite(self, name: str, at: datetime) -> None:
        assert not isinstance(invite(self.before(name), at=at), Refusal)

    def revoke(self, at: datetime) -> None:
        clearance = Clearance.objects.filter(revocation=None).order_by("-id")[0]
        revoke(clearance, reason="another patient's", at=at, by_id=self.by)

    def history(self) -> list[Callable[[datetime], object]]:
        """Return the acts in order, the first for day 1."""
        by = self.by
        ana, bea = "Ana", "Bea"
        return [
            lambda at: a_short_edition(at=at),
            lambda at: self.require("sips", -28, -7, at),
            lambda at: self.enrol(ana, day(25), at),
            lambda at: self.enrol(bea, None, at),
            lambda at: self.invite(ana, at),
            lambda at: begin(self.link(ana), at=at),
            lambda at: take(self.link(ana), "11000", at=at),
            lambda at: take(self.link(ana), "11111", at=at),
            lambda at: undo(self.passed(), at=at, reason="a slip", by_id=by),
            lambda at: match(self.passed(), self.patient(ana), at=at, by_id=by),
            lambda at: move(self.operation(ana), day(60), at=at),
            lambda at: move(self.operation(ana), day(30), at=at),
            lambda at: a_short_edition(at=at, earlier_clearances_count=False),
            lambda at: self.invite(ana, at),
            lambda at: take(self.link(ana), "00000", at=at),
            lambda at: take(self.link(ana), "00000", at=at),
            lambda at: take(self.link(ana), "00000", at=at),
            lambda at: clear_by_teach_back(
                self.patient(ana), Module.objects.get(), at=at, note="in her own words", by_id=by
            ),
            lambda at: move(self.operation(ana), day(20), at=at),
            lambda at: sign_off(self.before(ana), reason="heard it", at=at, by_id=by),
            lambda at: move(self.operation(ana), None, at=at),
            lambda at: move(self.operation(ana), day(33), at=at),
            self.revoke,
            lambda at: waive(self.before(ana), reason="done elsewhere", at=at, by_id=by),
            lambda at: revoke_waiver(Waiver.objects.get(), reason="was not", at=at, by_id=by),
            lambda at: move(self.operation(bea), day(40), at=at),
            lambda at: self.invite(bea, at),
            lambda at: take(self.link(bea), "11111", at=at, given_names="Beatriz"),
            lambda at: not_a_patient(self.passed(), at=at, by_id=by),
            lambda at: undo(self.passed(), at=at, reason="she is", by_id=by),
            lambda at: match(self.passed(), self.patient(bea), at=at, by_id=by),
            lambda at: change(self.operation(bea), at=at, booking=Booking.CANCELLED),
            lambda at: change(self.operation(bea), at=at, booking=Booking.PROPOSED),
            lambda at: programme.change(at=at, notice_days=2, by_id=by),
            lambda at: programme.change(at=at, attempts_allowed=9, by_id=by),
            lambda at: self.require("sips", -28, -2, at),
            lambda at: a_short_edition(at=at, text=short_module("home")),
            lambda at: self.require("home", 1, 4, at),
            lambda at: change(self.operation(ana), at=at, booking=Booking.DONE),
            lambda at: correct(self.patient(bea), at=at, source="x", family_names="Falk"),
            self.teach_back_needs_visit,
            self.there_was_no_teach_back,
        ]

    def teach_back_needs_visit(self, at: datetime) -> None:
        teach_back.record(
            Assignment.objects.get(operation=self.operation("Bea"), module__code="home"),
            outcome=TeachBackOutcome.NEEDS_VISIT,
            means=Means.CALL,
            said={},
            next_on=None,
            at=at,
            by_id=self.by,
        )

    def there_was_no_teach_back(self, at: datetime) -> None:
        contact = TeachBack.objects.get().contact
        teach_back.correct(contact, instead=None, reason="another's", at=at, by_id=self.by)


def _everything() -> list[Assignment]:
    return list(Assignment.objects.select_related("operation").order_by("pk"))


# When an act happens: at the very first and the very last instant of its local day.
@pytest.mark.parametrize("last", [False, True], ids=["at 00:00:00", "at 23:59:59.999999"])
def test_each_past_day_answers_as_it_did(clinician: int, last: bool) -> None:
    zone = a_programme(at=LONG_BEFORE).zone
    diary: Diary = {}
    history = Acts(clinician).history()
    for number in range(1, DAYS):
        if number <= len(history):
            first_instant = end_of_day(day(number - 1), zone)
            last_instant = end_of_day(day(number), zone) - timedelta(microseconds=1)
            history[number - 1](last_instant if last else first_instant)
        today = day(number)
        diary[today] = {t.assignment.pk: t.answer for t in standings(_everything(), on=today)}
        midday = datetime.combine(today, time(12), zone)
        on, brief = standings_at(_everything(), at=midday)
        assert on == today
        assert {t.assignment.pk: t.answer for t in brief} == diary[today]

    asked_again = {
        today: {t.assignment.pk: t.answer for t in standings_as_of(_everything(), on=today)}
        for today in diary
    }
    assert asked_again == diary
    answers = [answer for told in diary.values() for answer in told.values()]
    # The history is worth asking only if it went everywhere.
    assert {answer.standing for answer in answers} == set(Standing)
    assert {r for answer in answers for r in answer.reasons} >= set(Reason) - {
        Reason.CLEARED_TOO_LATE,
        # those have their own days in test_second_clinician.py
        Reason.SIGN_OFF_WAITS_FOR_SECOND,
        Reason.WAIVER_WAITS_FOR_SECOND,
    }


def test_a_day_before_everything_has_no_assignment(clinician: int) -> None:
    at = end_of_day(day(0), a_programme(at=LONG_BEFORE).zone)
    a_short_edition(at=at)
    Acts(clinician).require("sips", -28, -7, at)
    Acts(clinician).enrol("Ana", day(25), at)
    assert standings_as_of(_everything(), on=day(0)) == []
    assert len(standings_as_of(_everything(), on=day(1))) == 1
