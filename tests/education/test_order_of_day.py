"""The morning list's order and who waits for a call: SQL and the pure rules say the same."""

from datetime import date, timedelta
from itertools import product

import pytest

from education.models import Assignment
from education.reaching import NOTHING_KNOWN, reaching
from education.rules.contact_wanted import contact_wanted
from education.rules.order_of_day import place
from patients.clock import now
from patients.contact import log_contact
from patients.models import Means, Outcome
from patients.programme import current, local_day
from patients.schedule import move
from tests.factories import (
    PLAIN,
    a_member,
    a_patient,
    a_programme,
    an_assignment,
    an_edition,
    an_operation,
)

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)


def test_sql_orders_as_the_rule_does() -> None:
    module = an_edition().module
    for days in (3, 7, 8, 30, 6, 20):
        an_assignment(operation=an_operation(days_ahead=days), module=module)
    home = an_edition((PLAIN / "first_weeks_at_home.toml").read_text()).module
    for operation in Assignment.objects.all()[:3]:
        an_assignment(operation=operation.operation, module=home, opens_days=1, clear_by_days=4)
    on = local_day(now())
    for ahead in (0, 5, 9, 26, 33):
        listed = list(
            Assignment.objects.in_order_of_day(on=on + ahead * DAY).select_related("operation")
        )
        assert [one.pk for one in listed] == [
            one.pk for one in sorted(listed, key=lambda a: (_place(a, on + ahead * DAY), a.pk))
        ]
    move(listed[0].operation, None, at=now())
    last = Assignment.objects.in_order_of_day(on=on).last()
    assert last is not None
    assert last.clear_by is None


def _place(one: Assignment, on: date) -> tuple[int, date]:
    return place(
        or_date=one.operation.or_date,
        clear_by=one.clear_by,
        due_before_operation=one.due_before_operation,
        on=on,
    )


def test_sql_finds_who_waits_for_a_call_as_the_rule_does() -> None:
    a_programme()
    by, module = a_member("dietitian").pk, an_edition().module
    on, zone = local_day(now()), current().zone
    home = an_edition((PLAIN / "first_weeks_at_home.toml").read_text()).module
    outcomes = (None, Outcome.NO_ANSWER, Outcome.REACHED)
    addresses = ("", "x@example.org")
    # In 90 days: no window is open yet, and each patient has two modules that will be.
    in_40_days = product(addresses, outcomes, (None, 0, 1), (40,))
    in_90_days = product(addresses, (Outcome.NO_ANSWER,), (0, 1), (90,))
    for email, outcome, next_day, ahead in (*in_40_days, *in_90_days):
        patient = a_patient(email=email)
        operation = an_operation(patient=patient, days_ahead=ahead)
        an_assignment(operation=operation, module=module)
        an_assignment(operation=operation, module=home, opens_days=1, clear_by_days=4)
        if outcome is not None:
            log_contact(
                patient,
                means=Means.CALL,
                outcome=outcome,
                next_on=None if next_day is None else on + next_day * DAY,
                at=now(),
                by_id=by,
            )
    every = list(Assignment.objects.select_related("operation__patient"))
    for day in (on - 21 * DAY, on, on + DAY):
        known = reaching({one.operation.patient_id for one in every}, zone=zone)
        soonest = sorted(every, key=lambda one: (one.opens_on or date.max, one.pk), reverse=True)
        first = {one.operation.patient_id: one.pk for one in soonest}
        expected = {
            one.pk
            for one in every
            if contact_wanted(
                known.get(one.operation.patient_id, NOTHING_KNOWN).contacts,
                opens_on=one.opens_on,
                has_email=bool(one.operation.patient.email),
                on=day,
                opens_first=first[one.operation.patient_id] == one.pk,
            )
        }
        found = Assignment.objects.wanting_a_contact(on=day, zone=zone)
        assert {one.pk for one in found} == expected
    assert expected  # somebody waits, and somebody does not
    assert len(expected) < len(every)
