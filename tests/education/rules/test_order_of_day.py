"""The order of the morning list: one table, in order."""

from datetime import date

from education.rules.order_of_day import Chance, place

ON = date(2026, 3, 10)
# or date, clear by, due before the operation, what can be saved; from the first to the last
IN_ORDER = [
    (date(2026, 3, 17), date(2026, 3, 10), True, Chance.CLEAR_BY, "today is the last day for it"),
    (date(2026, 3, 9), date(2026, 3, 12), False, Chance.CLEAR_BY, "after an operation, in time"),
    (date(2026, 3, 30), date(2026, 3, 13), True, Chance.CLEAR_BY, "three days are left"),
    (date(2026, 3, 10), date(2026, 3, 3), True, Chance.OPERATION, "the operation is today"),
    (date(2026, 3, 12), date(2026, 3, 9), True, Chance.OPERATION, "missed by a day, two left"),
    (date(2026, 3, 15), date(2026, 3, 1), True, Chance.OPERATION, "longer overdue, more time left"),
    (date(2026, 2, 1), date(2026, 2, 20), False, Chance.LEARNING, "should have been learned"),
    (date(2026, 2, 20), date(2026, 3, 9), False, Chance.LEARNING, "less overdue"),
    (None, None, True, Chance.NOTHING_DATED, "no OR date yet"),
]


def test_what_can_still_be_saved_comes_first() -> None:
    places = [
        place(or_date=row[0], clear_by=row[1], due_before_operation=row[2], on=ON)
        for row in IN_ORDER
    ]
    assert [chance for chance, _ in places] == [row[3] for row in IN_ORDER]
    assert places == sorted(places)
    assert len(set(places)) == len(places)
