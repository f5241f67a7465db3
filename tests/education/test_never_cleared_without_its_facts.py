"""Whatever happens in whatever order, nobody is cleared without the facts (promises C2, C4, C5).

A state machine schedules, moves, cancels, revives, hands in quizzes, decides whose they are,
clears, revokes, signs off, waives, publishes, merges and undoes merges, in random orders, and is
asked on random days. It keeps its own account of the facts: plain values, written down as each act
is done and never read from the database. What the rule, the SQL and the past days say is held
against it.

Six orders each time, two on PostgreSQL; ORDERS=200 in the environment tries that many.
"""

import os
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

import pytest
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from clinic.models import StaffUser
from education.clear import (
    NothingToSignOff,
    clear_by_teach_back,
    revoke,
    revoke_sign_off,
    revoke_waiver,
    sign_off,
    waive,
)
from education.identify import DecidedMeanwhile, match, undo
from education.invite import Refusal, invite
from education.models import (
    Assignment,
    Clearance,
    Invitation,
    Module,
    SignOff,
    Submission,
    Waiver,
)
from education.rules.standing import Standing
from education.standings import standings, standings_as_of
from education.take import NoAttemptLeft
from patients.merge import merge, undo_merge
from patients.models import Booking, Merge, Operation, Patient
from patients.schedule import change, move
from tests.education.short_module import a_short_edition, short_module, take
from tests.factories import a_member, a_patient, a_programme, an_assignment, an_operation
from tests.which_database import ON_POSTGRES

ZONE = ZoneInfo("America/Chicago")  # of the programme in tests/factories.py
BEGUN = datetime(2026, 3, 4, 15, tzinfo=UTC)  # clocks go forward in Chicago on 8 March 2026
OR_DATE = date(2026, 3, 22)
# Code: between which two days from the OR date. "home" is due after the operation.
OFFSETS = {"sips": (-28, -7), "home": (1, 10)}


@dataclass(frozen=True)
class Shown:
    """One clearance: of whom, of which module and edition, dated when, and whether it holds."""

    person: str
    module: str
    edition: int
    day: date
    holds: bool = True


@dataclass(frozen=True)
class Account:
    """What is true, as whoever kept the books by hand would have it."""

    or_date: date | None = OR_DATE
    cancelled: bool = False
    merged: bool = False
    shown: dict[int, Shown] = field(default_factory=dict)
    signed: frozenset[tuple[str, int]] = frozenset()
    waived: frozenset[str] = frozenset()
    # Each edition of each module: whether clearances on earlier ones still count.
    editions: dict[str, tuple[bool, ...]] = field(
        default_factory=lambda: dict.fromkeys(OFFSETS, (True,))
    )

    def cleared(self, module: str) -> bool:
        """Go through the facts one by one."""
        if module in self.waived:
            return True
        if self.or_date is None:
            return False
        return any(self._clears(pk, one, module) for pk, one in self.shown.items())

    def _clears(self, pk: int, one: Shown, module: str) -> bool:
        assert self.or_date
        if one.module != module or not one.holds:
            return False
        if one.person != "ana" and not self.merged:
            return False
        if not all(self.editions[module][one.edition :]):
            return False
        opens, closes = OFFSETS[module]
        from_operation = one.day.toordinal() - self.or_date.toordinal()
        if opens <= from_operation <= closes:
            return True
        too_late = closes < 0 < from_operation
        return from_operation > closes and not too_late and (module, pk) in self.signed


@dataclass(frozen=True)
class Stage:
    """The records with which every order begins."""

    ana: Patient
    other: Patient
    operation: Operation
    modules: dict[str, Module]
    by: StaffUser


def a_stage() -> Stage:
    a_programme(at=BEGUN)
    ana = a_patient(at=BEGUN, given_names="Ana", family_names="Ruiz")
    operation = an_operation(patient=ana, at=BEGUN, or_date=OR_DATE)
    modules = {
        code: a_short_edition(at=BEGUN, text=short_module(code, questions=2)).module
        for code in OFFSETS
    }
    for code, (opens, clear_by) in OFFSETS.items():
        an_assignment(
            operation=operation,
            module=modules[code],
            opens_days=opens,
            clear_by_days=clear_by,
            at=BEGUN,
        )
    other = a_patient(at=BEGUN, given_names="Bela", family_names="Quint")
    return Stage(ana, other, operation, modules, a_member("clinician"))


class Orders(RuleBasedStateMachine):
    """One patient's operation with two modules; another record of hers that may be merged."""

    stage: ClassVar["Stage"]  # made once; each order is played in a savepoint of its own

    def __init__(self) -> None:
        super().__init__()
        self.atomic = transaction.atomic()
        self.atomic.__enter__()
        self.at = BEGUN
        self.account = Account()
        self.past: list[tuple[datetime, Account]] = [(BEGUN, self.account)]
        self.ana, self.other = self.stage.ana, self.stage.other
        self.operation, self.modules = self.stage.operation, self.stage.modules
        self.by = self.stage.by

    def teardown(self) -> None:
        transaction.set_rollback(True)
        self.atomic.__exit__(None, None, None)

    # --- the account ---

    def _write(self, **changed: Any) -> None:
        self.account = replace(self.account, **changed)
        self.past.append((self.at, self.account))

    def _now(self) -> datetime:
        """An hour later: no two acts at one instant."""
        self.at += timedelta(hours=1)
        return self.at

    def _today(self) -> date:
        return self.at.astimezone(ZONE).date()

    def _assignment(self, code: str) -> Assignment:
        rows = Assignment.objects.select_related("operation__patient", "module")
        return rows.get(operation=self.operation, module=self.modules[code])

    def _showed(self, clearance: Clearance, person: str, code: str, day: date) -> None:
        edition = len(self.account.editions[code])
        if clearance.decision:
            edition = clearance.edition.number
        one = Shown(person, code, edition, day)
        self._write(shown={**self.account.shown, clearance.pk: one})

    def _no_longer(self, pk: int) -> None:
        one = replace(self.account.shown[pk], holds=False)
        self._write(shown={**self.account.shown, pk: one})

    def _holding(self) -> list[int]:
        return [pk for pk, one in self.account.shown.items() if one.holds]

    # --- what can happen ---

    @rule(days=st.integers(1, 9))
    def time_goes_by(self, days: int) -> None:
        self.at += timedelta(days=days)

    @rule(to=st.sampled_from([None, -12, -8, 0, 0, 4, 12, 30]))
    def moved(self, to: int | None) -> None:
        or_date = None if to is None else OR_DATE + timedelta(days=to)
        move(self.operation, or_date, at=self._now(), reason="the room")
        self._write(or_date=or_date)

    @rule()
    def cancelled_or_revived(self) -> None:
        cancelled = not self.account.cancelled
        booking = Booking.CANCELLED if cancelled else Booking.PROPOSED
        change(self.operation, at=self._now(), booking=booking)
        self._write(cancelled=cancelled)

    @rule(
        code=st.sampled_from(list(OFFSETS)),
        pattern=st.sampled_from(["11", "11", "01"]),
        name=st.sampled_from(["Ana", "Ana", "Somebody"]),
    )
    def quiz_handed_in(self, code: str, pattern: str, name: str) -> None:
        at = self._now()
        invitation = invite(self._assignment(code), at=at)
        if isinstance(invitation, Refusal):
            return
        try:
            submission = take(self._loaded(invitation), pattern, at=at, given_names=name)
        except NoAttemptLeft:
            return
        if name == "Ana" and pattern == "11":
            clearance = Clearance.objects.get(decision__submission=submission)
            self._showed(clearance, "ana", code, self._today())

    def _loaded(self, invitation: Invitation) -> Invitation:
        rows = Invitation.objects.select_related("assignment__operation__patient")
        return rows.get(pk=invitation.pk)

    @rule(pick=st.integers(0, 9))
    def decided_by_staff(self, pick: int) -> None:
        undecided = list(Submission.objects.undecided())
        if not undecided:
            return
        submission = undecided[pick % len(undecided)]
        match(submission, self.ana, at=self._now(), by_id=self.by.pk)
        if submission.passed:
            clearance = Clearance.objects.get(decision__submission=submission, revocation=None)
            day = submission.recorded_at.astimezone(ZONE).date()
            self._showed(clearance, "ana", submission.edition.module.code, day)

    @rule(pick=st.integers(0, 9))
    def decision_undone(self, pick: int) -> None:
        listed = list(Submission.objects.all())
        if not listed:
            return
        submission = listed[pick % len(listed)]
        held = Clearance.objects.filter(decision__submission=submission, revocation=None).first()
        try:
            undo(submission, at=self._now(), by_id=self.by.pk, reason="a slip")
        except DecidedMeanwhile:
            return
        if held:
            self._no_longer(held.pk)

    @rule(code=st.sampled_from(list(OFFSETS)))
    def taught_back(self, code: str) -> None:
        clearance = clear_by_teach_back(
            self.ana, self.modules[code], at=self._now(), by_id=self.by.pk, note="own words"
        )
        self._showed(clearance, "ana", code, self._today())

    @precondition(lambda self: not self.account.merged)
    @rule(code=st.sampled_from(list(OFFSETS)))
    def other_record_taught_back(self, code: str) -> None:
        clearance = clear_by_teach_back(
            self.other, self.modules[code], at=self._now(), by_id=self.by.pk, note="own words"
        )
        self._showed(clearance, "other", code, self._today())

    @precondition(lambda self: not self.account.merged)
    @rule(taught=st.sampled_from([*OFFSETS, None]))
    def merged(self, taught: str | None) -> None:
        if taught:
            self.other_record_taught_back(taught)
        merge(self.ana, self.other, at=self._now(), by_id=self.by.pk, reason="one person")
        self._write(merged=True)

    @precondition(lambda self: self.account.merged)
    @rule()
    def merge_undone(self) -> None:
        """What the other record had is hers no more; merged anew it has to be signed off anew."""
        done = Merge.objects.get(undone=None)
        undo_merge(done, at=self._now(), by_id=self.by.pk, reason="two people")
        shown = self.account.shown
        own = {(code, pk) for code, pk in self.account.signed if shown[pk].person == "ana"}
        self._write(merged=False, signed=frozenset(own))

    @precondition(lambda self: self._holding())
    @rule(pick=st.integers(0, 9))
    def revoked(self, pick: int) -> None:
        holding = self._holding()
        pk = holding[pick % len(holding)]
        revoke(Clearance.objects.get(pk=pk), reason="x", at=self._now(), by_id=self.by.pk)
        self._no_longer(pk)

    @rule(code=st.sampled_from(list(OFFSETS)))
    def signed_off(self, code: str) -> None:
        try:
            made = sign_off(self._assignment(code), reason="x", at=self._now(), by_id=self.by.pk)
        except NothingToSignOff:
            return
        root = made.clearance.original.pk  # a merge gives what it carries an id of its own
        self._write(signed=self.account.signed | {(code, root)})

    @precondition(lambda self: self.account.signed)
    @rule(pick=st.integers(0, 9))
    def sign_off_taken_back(self, pick: int) -> None:
        standing = list(SignOff.objects.standing().order_by("pk"))
        if not standing:
            return
        one = standing[pick % len(standing)]
        revoke_sign_off(one, reason="x", at=self._now(), by_id=self.by.pk)
        key = (one.assignment.module.code, one.clearance.original.pk)
        self._write(signed=self.account.signed - {key})

    @rule(code=st.sampled_from(list(OFFSETS)))
    def waived_or_taken_back(self, code: str) -> None:
        if code in self.account.waived:
            for waiver in Waiver.objects.filter(assignment__module__code=code, revocation=None):
                revoke_waiver(waiver, reason="x", at=self._now(), by_id=self.by.pk)
            self._write(waived=self.account.waived - {code})
        else:
            waive(self._assignment(code), reason="x", at=self._now(), by_id=self.by.pk)
            self._write(waived=self.account.waived | {code})

    @rule(code=st.sampled_from(list(OFFSETS)), count=st.sampled_from([False, False, True]))
    def published(self, code: str, count: bool) -> None:
        a_short_edition(
            at=self._now(), text=short_module(code, questions=2), earlier_clearances_count=count
        )
        editions = {**self.account.editions}
        editions[code] = (*editions[code], count)
        self._write(editions=editions)

    # --- what must be true ---

    @invariant()
    def cleared_by_the_rule_and_in_sql_only_with_the_facts(self) -> None:
        rows = Assignment.objects.filter(operation=self.operation)
        told = standings(rows.select_related("operation__patient", "module"), on=self._today())
        in_sql = set(rows.cleared().values_list("module__code", flat=True))
        for one in told:
            code = one.assignment.module.code
            expected = self.account.cleared(code)
            assert (one.answer.standing == Standing.CLEARED) is expected, code
            assert (code in in_sql) is expected, code
            assert one.assignment.closed is self.account.cancelled

    @rule(back=st.integers(1, 90))
    def asked_about_a_past_day(self, back: int) -> None:
        """C5: the day says what the account said at its end, whatever came later."""
        day = self._today() - timedelta(days=back)
        midnight = datetime.combine(day + timedelta(days=1), datetime.min.time(), tzinfo=ZONE)
        then = [account for at, account in self.past if at < midnight.astimezone(UTC)]
        rows = Assignment.objects.filter(operation=self.operation)
        told = standings_as_of(rows.select_related("operation__patient", "module"), on=day)
        assert bool(told) is bool(then)
        for one in told:
            code = one.assignment.module.code
            assert (one.answer.standing == Standing.CLEARED) is then[-1].cleared(code), code


@pytest.mark.django_db
def test_never_cleared_without_its_facts() -> None:
    Orders.stage = a_stage()
    run_state_machine_as_test(
        Orders,
        settings=settings(
            max_examples=int(os.environ.get("ORDERS", 2 if ON_POSTGRES else 6)),
            stateful_step_count=30,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
