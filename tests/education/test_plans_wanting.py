"""The morning list asks in SQL, of many plans, what `plan_of` says of each: the same answers."""

from datetime import datetime, timedelta
from random import Random
from zoneinfo import ZoneInfo

import pytest
import time_machine

from clinic.demo.events import RefusingMailServer
from clinic.models import Role
from education import stage_tables
from education.by_email import ByEmail
from education.eating_record import TypedFacts, facts_of, record_facts, sign_for
from education.models import EatingPlanGiven, GivenBy, Message, MessageState
from education.plan_link import send_plan
from education.plan_moves import hand_over, is_told
from education.plan_of import PlanOf, plan_of
from education.plans_wanting import Wanting, plans_wanting
from education.rules.may_give import Medicine
from education.rules.plan_wants import SOON, Want
from education.send import send
from patients.clock import now
from patients.models import Operation
from patients.schedule import move
from tests.factories import ZONE, a_member, a_patient, a_programme, an_operation

START = datetime.fromisoformat("2027-02-20T18:00:00+00:00")
DAY = timedelta(days=1)
HERE = ZoneInfo(ZONE)
OPERATIONS, DAYS = 14, 4
ACTS = ["ask", "sign", "send", "refused", "deliver", "deliver", "print", "move", "refused move"]


def _ask(operation: Operation, chance: Random, by_id: int) -> None:
    said: dict[Medicine, bool | None] = {one: chance.random() < 0.1 for one in Medicine}
    if chance.random() < 0.1:
        said[Medicine.PREGNANCY] = None
    facts = TypedFacts("", None, "", None, None, said)
    record_facts(operation.patient, facts, at=now(), by_id=by_id)


def _act(operation: Operation, chance: Random, by_id: int) -> None:
    """Let something happen to one operation's plan."""
    facts, table = facts_of(operation.patient), stage_tables.current()
    assert table
    act = chance.choice(ACTS)
    if act == "ask":
        _ask(operation, chance, by_id)
    elif act == "sign" and facts:
        sign_for(facts, note="discussed", at=now(), by_id=by_id)
    elif act == "print":
        hand_over(operation, table, GivenBy.PRINT, at=now(), by_id=by_id)
    elif act in ("send", "refused"):
        send_plan(operation, at=now(), by_id=by_id)
    elif act in ("move", "refused move") and operation.or_date:
        move(operation, or_date=operation.or_date + chance.randint(-4, 9) * DAY, at=now())
    if act in ("deliver", "refused", "refused move"):
        refuses = None if act == "deliver" else ByEmail(RefusingMailServer())
        for message in Message.objects.filter(
            patient=operation.patient, state=MessageState.WAITING
        ):
            send(message.pk, at=now(), channel=refuses)


def _same(one: Wanting, found: PlanOf) -> None:
    facts, told = one.facts, found.told
    needs_sign = found.facts is not None and (found.facts.diabetes or found.facts.pregnancy)
    assert facts.given is bool(found.given)
    assert facts.not_delivered is (bool(found.undelivered) and not found.given)
    assert facts.not_told is (told is not None and not is_told(told))
    assert facts.asked is all(found.answers.said.get(each) is not None for each in Medicine)
    assert facts.unsigned is (bool(needs_sign) and found.signature is None)
    if found.plan.refused is None and found.operation.or_date and facts.first:
        assert (facts.needed, facts.short) == (found.plan.needed, found.plan.short)


def _nothing_wanted(found: PlanOf) -> None:
    """What the list leaves out although its days are near wants nothing by its page either."""
    assert found.given
    assert found.told is None or is_told(found.told)
    assert not found.holds
    assert found.plan.short == 0


def _compare(operations: list[Operation]) -> list[Wanting]:
    listed = {one.operation.pk: one for one in plans_wanting(at=now(), zone=HERE)}
    for operation in operations:
        found = plan_of(Operation.objects.get(pk=operation.pk), at=now())
        assert found
        if operation.pk in listed:
            _same(listed[operation.pk], found)
        elif found.operation.or_date and found.plan.refused is None:
            near = found.operation.or_date - found.today <= (found.plan.needed + SOON) * DAY
            if near and EatingPlanGiven.objects.exists():
                _nothing_wanted(found)
    return list(listed.values())


@pytest.mark.django_db
def test_the_list_says_of_each_plan_what_its_page_says() -> None:
    """Something happens to each of many operations on each of some days; then both are asked."""
    chance, compared, wanted = Random(2), 0, set()
    with time_machine.travel(START, tick=False) as clock:
        a_programme()
        by_id = a_member(Role.CLINICIAN).pk
        stage_tables.found(at=now())
        operations = [
            an_operation(
                patient=a_patient(email="" if n % 4 == 0 else f"reader{n}@example.org"),
                days_ahead=chance.randint(8, 30),
            )
            for n in range(OPERATIONS)
        ]
        for operation in operations[: OPERATIONS * 3 // 4]:
            _ask(operation, chance, by_id)
            send_plan(operation, at=now(), by_id=by_id)
        for _ in range(DAYS):
            for operation in operations:
                operation.refresh_from_db()
                _act(operation, chance, by_id)
            clock.shift(DAY)
            listed = _compare(operations)
            compared += len(listed)
            wanted |= {want for one in listed for want in one.wants}
    assert compared > OPERATIONS
    assert wanted >= set(Want) - {Want.LONGER, Want.VISIT_DOES_NOT_FIT}, wanted
