"""Booking, moving, confirming, cancelling and reviving: one history, no silent confirmation."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import IntegrityError

from patients.models import Booking, Operation, OperationChange
from patients.schedule import ChangedMeanwhile, book, change, move
from tests.factories import a_patient, a_procedure, an_operation

pytestmark = pytest.mark.django_db

AT = datetime(2026, 3, 2, 15, tzinfo=UTC)
LATER = AT + timedelta(days=1)
DAY, OTHER_DAY = date(2026, 3, 22), date(2026, 4, 2)
PROPOSED, CONFIRMED, ON_HOLD = Booking.PROPOSED, Booking.CONFIRMED, Booking.ON_HOLD
DONE, CANCELLED = Booking.DONE, Booking.CANCELLED


def _operation(booking: Booking, or_date: date | None = DAY) -> Operation:
    return an_operation(at=AT, booking=booking, or_date=or_date)


def test_booking_writes_the_operation_and_the_first_line_of_its_history() -> None:
    operation = _operation(PROPOSED)
    line = OperationChange.objects.get(operation=operation)
    assert (line.version, line.or_date, line.booking) == (1, DAY, PROPOSED)
    assert line.recorded_at == AT


@dataclass(frozen=True)
class Row:
    """A booking with DAY as date, what is changed, and what must stand afterwards."""

    why: str
    before: Booking
    planned: dict[str, Any]
    booking: Booking
    or_date: date | None
    versions: int = 2


ROWS = [
    Row("moved while proposed", PROPOSED, {"or_date": OTHER_DAY}, PROPOSED, OTHER_DAY),
    Row("moved while on hold", ON_HOLD, {"or_date": OTHER_DAY}, ON_HOLD, OTHER_DAY),
    Row(
        "what was confirmed was the other date",
        CONFIRMED,
        {"or_date": OTHER_DAY},
        PROPOSED,
        OTHER_DAY,
    ),
    Row("a confirmed date taken away", CONFIRMED, {"or_date": None}, PROPOSED, None),
    Row(
        "a file says the new date is confirmed: nobody asked whether it may be",
        CONFIRMED,
        {"or_date": OTHER_DAY, "booking": CONFIRMED},
        PROPOSED,
        OTHER_DAY,
    ),
    Row(
        "moved and put on hold in one change",
        CONFIRMED,
        {"or_date": OTHER_DAY, "booking": ON_HOLD},
        ON_HOLD,
        OTHER_DAY,
    ),
    Row(
        "cancelled, and its date taken away, in one change",
        CONFIRMED,
        {"or_date": None, "booking": CANCELLED},
        CANCELLED,
        None,
    ),
    Row(
        "put on hold without a date, in one change",
        CONFIRMED,
        {"or_date": None, "booking": ON_HOLD},
        ON_HOLD,
        None,
    ),
    Row("confirmed", PROPOSED, {"booking": CONFIRMED}, CONFIRMED, DAY),
    Row("cancelled", CONFIRMED, {"booking": CANCELLED}, CANCELLED, DAY),
    Row("revived", CANCELLED, {"booking": PROPOSED}, PROPOSED, DAY),
    Row("done", CONFIRMED, {"booking": DONE}, DONE, DAY),
    Row("the same date again changes nothing", CONFIRMED, {"or_date": DAY}, CONFIRMED, DAY, 1),
    Row("another surgeon", CONFIRMED, {"surgeon": "Dr. Imre Valk"}, CONFIRMED, DAY),
]


@pytest.mark.parametrize("row", ROWS, ids=[row.why for row in ROWS])
def test_changing_what_is_planned(row: Row) -> None:
    operation = _operation(row.before)
    after = change(operation, at=LATER, reason="why", **row.planned)
    assert (after.booking, after.or_date) == (row.booking, row.or_date)
    stored = Operation.objects.get(pk=operation.pk)
    lines = list(operation.changes.all())
    assert [line.version for line in lines] == list(range(1, row.versions + 1))
    assert (stored.booking, stored.or_date, stored.version) == (
        row.booking,
        row.or_date,
        row.versions,
    )
    assert (lines[-1].booking, lines[-1].or_date) == (row.booking, row.or_date)
    assert lines[0].booking == row.before, "what stood before is never overwritten"


def test_no_date_cannot_be_confirmed() -> None:
    operation = an_operation(at=AT, days_ahead=None)
    with pytest.raises(IntegrityError):
        change(operation, at=LATER, booking=CONFIRMED)


def test_a_change_to_an_older_version_is_refused_with_the_latest_one() -> None:
    operation = _operation(PROPOSED)
    move(operation, OTHER_DAY, at=LATER)
    with pytest.raises(ChangedMeanwhile) as refused:
        change(operation, at=LATER, version=1, booking=CONFIRMED)
    assert refused.value.operation.or_date == OTHER_DAY
    assert operation.changes.count() == 2


def test_a_change_rests_on_the_record_not_on_the_copy_in_hand() -> None:
    stale = _operation(PROPOSED)
    move(stale, OTHER_DAY, at=LATER)
    assert change(stale, at=LATER, surgeon="Dr. Imre Valk").or_date == OTHER_DAY


def test_what_an_operation_does_not_have_cannot_be_changed() -> None:
    with pytest.raises(TypeError, match="case_number"):
        change(_operation(PROPOSED), at=LATER, case_number="9")


def test_a_case_number_is_given_once_and_none_is_no_number() -> None:
    patient, procedure = a_patient(at=AT), a_procedure()
    for _ in range(2):
        book(patient=patient, procedure=procedure, at=AT)
    book(patient=patient, procedure=procedure, at=AT, case_number="77")
    with pytest.raises(IntegrityError):
        book(patient=patient, procedure=procedure, at=AT, case_number="77")


def test_upcoming_and_date_passed() -> None:
    today = date(2026, 3, 22)
    days = {"yesterday": -1, "today": 0, "tomorrow": 1}
    found = {
        name: an_operation(at=AT, or_date=today + timedelta(days=n)) for name, n in days.items()
    }
    found["no date"] = an_operation(at=AT, days_ahead=None)
    an_operation(at=AT, or_date=today, booking=CANCELLED)
    an_operation(at=AT, or_date=today - timedelta(days=1), booking=DONE)
    upcoming = set(Operation.objects.upcoming(on=today))
    assert upcoming == {found["today"], found["tomorrow"], found["no date"]}
    assert set(Operation.objects.date_passed(on=today)) == {found["yesterday"]}
