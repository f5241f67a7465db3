"""The operations page by day and by week, found, and printed (issue's point 6, promise S7)."""

from datetime import date, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from clinic.operation_list import Show, Which, asked_for
from education.clear import clear_by_teach_back
from patients.clock import local_date, now
from patients.programme import current
from tests.factories import a_member, a_patient, a_programme, an_assignment, an_operation, signed_in

WEDNESDAY = date(2026, 11, 25)
MONDAY, SUNDAY = date(2026, 11, 23), date(2026, 11, 29)


@pytest.mark.parametrize(
    "query, show, day",
    [
        ({}, Show.WEEK, MONDAY),
        ({"week": "2026-12-03"}, Show.WEEK, date(2026, 11, 30)),
        ({"week": "nonsense"}, Show.WEEK, MONDAY),
        ({"day": "2026-12-03"}, Show.DAY, date(2026, 12, 3)),
        ({"day": "2026-02-30"}, Show.DAY, WEDNESDAY),
        ({"day": "9999-12-31"}, Show.DAY, date(2100, 12, 31)),
        ({"show": "without-date"}, Show.WITHOUT_DATE, WEDNESDAY),
        ({"show": "passed", "day": "2026-12-03"}, Show.PASSED, WEDNESDAY),
        ({"show": "everything"}, Show.WEEK, MONDAY),
    ],
)
def test_what_an_address_asks_for(query: dict[str, str], show: Show, day: date) -> None:
    which = asked_for(query, on=WEDNESDAY)
    assert (which.show, which.day) == (show, day)


def test_a_week_is_monday_to_sunday_and_a_day_steps_by_days() -> None:
    """ISO 8601: the week begins on Monday."""
    week, day = Which(Show.WEEK, MONDAY, WEDNESDAY), Which(Show.DAY, SUNDAY, WEDNESDAY)
    assert (week.monday, week.sunday, week.weeks_away) == (MONDAY, SUNDAY, 0)
    assert (week.before, week.after) == (date(2026, 11, 16), date(2026, 11, 30))
    assert (day.before, day.after) == (date(2026, 11, 28), date(2026, 11, 30))
    assert (day.monday, day.weeks_away) == (MONDAY, 0)


@pytest.fixture
def coordinator(db: None) -> Client:
    a_programme()
    return signed_in(a_member("coordinator", name="Rosalind Achterberg"))


def monday() -> date:
    """The Monday after next, so that the whole week lies ahead."""
    today = local_date(now(), current().zone)
    return today - timedelta(days=today.weekday()) + timedelta(days=14)


def words(client: Client, **query: str) -> str:
    return " ".join(client.get(reverse("operations"), query).content.decode().split())


def test_a_week_is_grouped_by_days_with_how_many_of_each_answer(coordinator: Client) -> None:
    first = monday()
    clear = an_assignment(operation=an_operation(or_date=first))
    clear_by_teach_back(
        clear.operation.patient, clear.module, at=now(), by_id=a_member("dietitian").pk, note="x"
    )
    an_assignment(operation=an_operation(or_date=first))
    an_assignment(operation=an_operation(or_date=first + timedelta(days=6)))
    an_assignment(operation=an_operation(or_date=first + timedelta(days=7)))
    response = coordinator.get(reverse("operations"), {"week": first.isoformat()})
    days = response.context["days"]
    assert [(one.day, one.says) for one in days] == [
        (first, "1 confirm, 1 hold"),
        (first + timedelta(days=6), "1 hold"),
    ]
    assert f"?day={first.isoformat()}" in response.content.decode()


def test_a_day_shows_that_day_alone(coordinator: Client) -> None:
    first = monday()
    here = an_operation(or_date=first)
    an_operation(or_date=first + timedelta(days=1))
    response = coordinator.get(reverse("operations"), {"day": first.isoformat()})
    assert [row.operation for row in response.context["rows"]] == [here]
    shown = words(coordinator, day=first.isoformat())
    assert f"?day={(first + timedelta(days=1)).isoformat()}" in shown
    assert f"{first:%A} {first.day} {first:%B %Y}" in shown
    empty = words(coordinator, day=(first + timedelta(days=2)).isoformat())
    assert "No operation on this day." in empty


@pytest.mark.parametrize("asked", ["okafor 3 may 1980", "1980-05-03 okaf", "MRN 00123 okafor"])
def test_a_caller_says_it_in_any_order(coordinator: Client, asked: str) -> None:
    a_patient(given_names="Ada", family_names="Okafor", birth_date=date(1971, 2, 1))
    ada = a_patient(
        given_names="Ada", family_names="Okafor", birth_date=date(1980, 5, 3), mrn="LF-00123"
    )
    operation = an_operation(patient=ada)
    an_operation()
    found = coordinator.get(reverse("operations"), {"q": asked}).context["found"]
    assert (found.operations, found.without_operation) == ([operation], [])


def test_what_is_printed_says_when_where_and_by_whom(coordinator: Client) -> None:
    """Promise S7: the zone too, because a sheet of paper travels."""
    shown = words(coordinator)
    at = now().astimezone(current().zone)
    assert f"{at:%Z}, {at:%a} {at.day} {at:%b %Y} (when the page was loaded)" in shown
    assert "by Rosalind Achterberg" in shown


def test_a_long_week_comes_in_pages_and_points_at_its_days(
    coordinator: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("clinic.views.operations.PAGE", 3)
    first, patient = monday(), a_patient()
    for _ in range(4):
        an_operation(patient=patient, or_date=first)
    page = coordinator.get(reverse("operations"), {"week": first.isoformat()})
    assert len(page.context["rows"]) == 3
    shown = page.content.decode()
    assert "4 operations in this week" in shown
    assert f"?week={first.isoformat()}&amp;page=2" in shown
    second = coordinator.get(reverse("operations"), {"week": first.isoformat(), "page": "2"})
    assert len(second.context["rows"]) == 1
