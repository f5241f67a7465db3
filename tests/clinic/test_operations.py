"""The coordinator's pages (promise S4, and C2 where it meets them)."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import InterfaceError, OperationalError, connection
from django.test import Client
from django.urls import reverse

from clinic.models import Confirmation, Role
from clinic.unsettled import unsettled
from education.clear import clear_by_teach_back, revoke
from education.models import Assignment, Clearance
from patients.clock import now
from patients.models import Booking, Operation, OperationChange
from patients.register import correct
from patients.rules.search_words import days_meant
from patients.schedule import change, move
from tests.factories import (
    PLAIN,
    a_member,
    a_patient,
    an_assignment,
    an_edition,
    an_operation,
    signed_in,
)
from tests.rendered_forms import form_to

pytestmark = pytest.mark.django_db


def cleared(assignment: Assignment) -> Clearance:
    """The patient said it in their own words, today, inside the window."""
    return clear_by_teach_back(
        assignment.operation.patient,
        assignment.module,
        at=now(),
        by_id=a_member(Role.DIETITIAN).pk,
        note="Said it all.",
    )


@pytest.fixture
def operation() -> Operation:
    """One that may be confirmed."""
    assignment = an_assignment()
    cleared(assignment)
    return assignment.operation


@pytest.fixture
def coordinator() -> Client:
    return signed_in(Role.COORDINATOR)


def page(operation: Operation) -> str:
    return reverse("operation", args=[operation.pk])


def to(name: str, operation: Operation) -> str:
    return reverse(name, args=[operation.pk])


def words(response: Any) -> str:
    """The words of a page, without its markup's line breaks."""
    return " ".join(response.content.decode().split())


def dated(operation: Operation) -> date:
    """The OR date of an operation that has one."""
    assert operation.or_date
    return operation.or_date


def latest(operation: Operation) -> Operation:
    return Operation.objects.get(pk=operation.pk)


# --- the answer ----------------------------------------------------------------------------------


def test_confirm_says_for_which_date_of_whom_and_when_it_was_asked(
    operation: Operation, coordinator: Client
) -> None:
    response = coordinator.get(page(operation))
    text = words(response)
    assert response.status_code == 200
    assert "verdict-confirm" in text
    day = dated(operation)
    assert f"{day:%A} {day.day} {day:%B %Y}" in text
    assert operation.patient.full_name in text
    assert operation.patient.mrn in text
    born = operation.patient.birth_date
    assert f"born {born.day} {born:%b %Y}" in text
    assert "Asked at" in text
    assert "no-store" in response["Cache-Control"]


def test_hold_names_the_module_and_the_reason(coordinator: Client) -> None:
    assignment = an_assignment()
    text = words(coordinator.get(page(assignment.operation)))
    assert "verdict-hold" in text
    assert "verdict-confirm" not in text
    assert "not invited yet" in text
    assert "Before your operation" in text


def test_an_operation_for_which_nothing_is_required_holds(coordinator: Client) -> None:
    text = words(coordinator.get(page(an_operation())))
    assert "verdict-hold" in text
    assert "No module is required" in text


def test_a_module_due_after_the_operation_is_shown_and_holds_nothing(coordinator: Client) -> None:
    operation = an_assignment().operation
    cleared(Assignment.objects.get())
    home = an_edition((PLAIN / "first_weeks_at_home.toml").read_text()).module
    an_assignment(operation=operation, module=home, opens_days=1, clear_by_days=30)
    text = words(coordinator.get(page(operation)))
    assert "verdict-confirm" in text
    assert "After the operation, not part of the answer" in text


# --- confirming ----------------------------------------------------------------------------------


def test_confirming_is_recorded_with_the_answer_that_was_seen(
    operation: Operation, coordinator: Client
) -> None:
    shown = form_to(coordinator.get(page(operation)), to("operation-confirm", operation))
    response = coordinator.post(to("operation-confirm", operation), shown)
    assert response.status_code == 302
    confirmation = Confirmation.objects.get()
    assert (confirmation.word, confirmation.against_hold) == ("confirm", False)
    assert confirmation.or_date == operation.or_date
    assert latest(operation).booking == Booking.CONFIRMED
    assert "Confirmed for" in words(coordinator.get(page(operation)))


def test_the_same_button_sent_twice_confirms_once(
    operation: Operation, coordinator: Client
) -> None:
    shown = form_to(coordinator.get(page(operation)), to("operation-confirm", operation))
    for _ in range(2):
        coordinator.post(to("operation-confirm", operation), shown)
    assert Confirmation.objects.count() == 1


def moved_by_a_week(operation: Operation) -> None:
    assert operation.or_date
    move(operation, operation.or_date + timedelta(days=7), at=now(), reason="theatre closed")


def revoked(operation: Operation) -> None:
    by = a_member(Role.CLINICIAN)
    revoke(Clearance.objects.get(), reason="somebody else's quiz", at=now(), by_id=by.pk)


@pytest.mark.parametrize("meanwhile, is_now", [(moved_by_a_week, "confirm"), (revoked, "hold")])
def test_confirming_on_an_older_page_is_refused_and_both_versions_are_shown(
    operation: Operation,
    coordinator: Client,
    meanwhile: Callable[[Operation], None],
    is_now: str,
) -> None:
    """S4."""
    shown = form_to(coordinator.get(page(operation)), to("operation-confirm", operation))
    meanwhile(operation)
    response = coordinator.post(to("operation-confirm", operation), shown)
    then, _, today = words(response).partition("What it is now")
    assert response.status_code == 409
    assert "verdict-confirm" in then
    day = dated(operation)
    assert f"{day:%a} {day.day} {day:%b %Y}" in then
    assert f"verdict-{is_now}" in today
    assert not Confirmation.objects.exists()
    assert latest(operation).booking == Booking.PROPOSED


def test_what_was_seen_is_never_trusted(operation: Operation, coordinator: Client) -> None:
    shown = form_to(coordinator.get(page(operation)), to("operation-confirm", operation))
    revoked(operation)
    shown |= {"seen_word": "<script>", "seen_or_date": "2027-99-99", "seen": "0" * 16}
    response = coordinator.post(to("operation-confirm", operation), shown)
    assert response.status_code == 409
    assert "<script>" not in words(response)
    assert not Confirmation.objects.exists()


@pytest.mark.parametrize("version", ["", "0", "x"])
def test_a_form_without_its_fields_confirms_nothing(
    operation: Operation, coordinator: Client, version: str
) -> None:
    shown = form_to(coordinator.get(page(operation)), to("operation-confirm", operation))
    shown |= {"version": version}
    assert coordinator.post(to("operation-confirm", operation), shown).status_code == 409
    assert not Confirmation.objects.exists()


# --- against a hold ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "clinician, reason", [("", ""), ("Dr. Brask", ""), ("", "urgent"), ("   ", "urgent")]
)
def test_against_a_hold_needs_a_name_and_a_reason_and_keeps_what_was_typed(
    coordinator: Client, clinician: str, reason: str
) -> None:
    operation = an_assignment().operation
    act = to("operation-confirm-against-hold", operation)
    shown = form_to(coordinator.get(page(operation)), act)
    response = coordinator.post(act, shown | {"clinician": clinician, "clinician_reason": reason})
    assert response.status_code == 400
    assert not Confirmation.objects.exists()
    if clinician.strip():
        assert clinician in words(response)


def test_against_a_hold_stays_visible_on_the_page_and_in_the_list(coordinator: Client) -> None:
    operation = an_assignment(operation=an_operation(days_ahead=3)).operation
    act = to("operation-confirm-against-hold", operation)
    shown = form_to(coordinator.get(page(operation)), act)
    coordinator.post(
        act, shown | {"clinician": "Dr. Brask", "clinician_reason": "The ulcer cannot wait."}
    )
    confirmation = Confirmation.objects.get()
    assert (confirmation.word, confirmation.against_hold) == ("hold", True)
    week = f"{reverse('operations')}?week={operation.or_date}"
    for address in (page(operation), week):
        text = words(coordinator.get(address))
        assert "against a hold" in text
        assert "The ulcer cannot wait." in text
        assert "verdict-hold" in text
    assert unsettled(at=now()) == []  # it was accepted as it is


def test_the_plain_button_does_not_confirm_against_a_hold(coordinator: Client) -> None:
    operation = an_assignment().operation
    against = to("operation-confirm-against-hold", operation)
    shown = form_to(coordinator.get(page(operation)), against)
    assert coordinator.post(to("operation-confirm", operation), shown).status_code == 409
    assert not Confirmation.objects.exists()


# --- other bookings ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "booking, following",
    [
        (Booking.PROPOSED, Booking.ON_HOLD),
        (Booking.PROPOSED, Booking.CANCELLED),
        (Booking.ON_HOLD, Booking.PROPOSED),
        (Booking.CANCELLED, Booking.PROPOSED),
    ],
)
def test_another_booking_needs_a_reason_and_stands_in_the_history(
    operation: Operation, coordinator: Client, booking: Booking, following: Booking
) -> None:
    change(operation, at=now(), booking=booking)
    act = to("operation-booking", operation)
    assert f"{act}?booking={following}" in words(coordinator.get(page(operation)))
    shown = form_to(coordinator.get(act, {"booking": following}), act)
    assert coordinator.post(act, shown).status_code == 400
    assert latest(operation).booking == booking
    shown = form_to(coordinator.get(act, {"booking": following}), act)
    assert coordinator.post(act, shown | {"reason": "surgeon ill"}).status_code == 302
    assert latest(operation).booking == following
    assert OperationChange.objects.latest("id").reason == "surgeon ill"
    assert "surgeon ill" in words(coordinator.get(page(operation)))


def test_done_is_offered_once_the_day_has_come(coordinator: Client) -> None:
    later, today = an_operation(days_ahead=1), an_operation(days_ahead=0)
    assert "Mark as done" not in words(coordinator.get(page(later)))
    assert "Mark as done" in words(coordinator.get(page(today)))


@pytest.mark.parametrize("booking", ["confirmed", "done", "nonsense"])
def test_a_booking_that_cannot_follow_is_refused(
    operation: Operation, coordinator: Client, booking: str
) -> None:
    act = to("operation-booking", operation)
    shown = form_to(coordinator.get(act, {"booking": "on_hold"}), act)
    response = coordinator.post(act, shown | {"booking": booking, "reason": "why not"})
    assert response.status_code == 400
    assert latest(operation).booking == Booking.PROPOSED


def test_another_booking_on_an_older_page_is_refused_and_both_are_shown(
    operation: Operation, coordinator: Client
) -> None:
    act = to("operation-booking", operation)
    shown = form_to(coordinator.get(act, {"booking": "cancelled"}), act)
    change(operation, at=now(), booking=Booking.ON_HOLD, reason="waits for a bed")
    response = coordinator.post(act, shown | {"reason": "patient moved away"})
    then, _, today = words(response).partition("What it is now")
    assert response.status_code == 409
    assert "proposed" in then
    assert "on hold" in today
    assert "patient moved away" in today  # what was typed is not lost
    assert latest(operation).booking == Booking.ON_HOLD


# --- moving the date -----------------------------------------------------------------------------


def test_moving_shows_first_what_it_would_do_and_writes_nothing(
    operation: Operation, coordinator: Client
) -> None:
    assert operation.or_date
    far = operation.or_date + timedelta(days=200)
    before = OperationChange.objects.count()
    text = words(coordinator.get(to("operation-move", operation), {"or_date": str(far)}))
    opens = far - timedelta(days=60)
    assert f"{opens:%a} {opens.day} {opens:%b %Y} to" in text
    assert "verdict-hold" in text
    assert "changes:" in text
    assert "too old for this OR date" in text
    assert OperationChange.objects.count() == before
    assert latest(operation).or_date == operation.or_date


@pytest.mark.parametrize("days", [-15, -7, 0, 1, 39, 40, 41, 300, None])
def test_the_preview_equals_what_the_move_then_does(
    operation: Operation, coordinator: Client, days: int | None
) -> None:
    """The preview computes; here the date really moves, and the page has to say the same."""
    assert operation.or_date
    day = None if days is None else operation.or_date + timedelta(days=days)
    asked = {"no_date": "on"} if day is None else {"or_date": str(day)}
    preview = coordinator.get(to("operation-move", operation), asked)
    promised = preview.context["preview"]
    move(operation, day, at=now())
    row = coordinator.get(page(operation)).context["row"]
    assert row.given.verdict == promised.verdict
    assert [t.answer for t in row.given.told] == [line.then.answer for line in promised.lines]
    assert [(t.facts.opens_on, t.facts.clear_by) for t in row.given.told] == [
        (line.then.window.opens_on, line.then.window.clear_by) if line.then.window else (None, None)
        for line in promised.lines
    ]


@pytest.mark.parametrize("asked", [{"or_date": "2027-06-01"}, {"no_date": "on"}])
def test_moving_and_postponing_need_a_reason(
    operation: Operation, coordinator: Client, asked: dict[str, str]
) -> None:
    act = to("operation-move", operation)
    shown = form_to(coordinator.get(act, asked), act)
    assert coordinator.post(act, shown | {"reason": ""}).status_code == 400
    assert latest(operation).or_date == operation.or_date
    shown = form_to(coordinator.get(act, asked), act)
    assert coordinator.post(act, shown | {"reason": "surgeon away"}).status_code == 302
    expected = date(2027, 6, 1) if "or_date" in asked else None
    assert latest(operation).or_date == expected


@pytest.mark.parametrize("typed", ["31/02/2027", "tomorrow", "0001-01-01", "9999-12-31", "x" * 999])
def test_a_date_that_cannot_be_meant_is_refused(
    operation: Operation, coordinator: Client, typed: str
) -> None:
    response = coordinator.get(to("operation-move", operation), {"or_date": typed})
    assert response.status_code == 400


def test_moving_on_an_older_page_is_refused_and_both_are_shown(
    operation: Operation, coordinator: Client
) -> None:
    act = to("operation-move", operation)
    shown = form_to(coordinator.get(act, {"or_date": "2027-06-01"}), act)
    moved_by_a_week(operation)
    response = coordinator.post(act, shown | {"reason": "surgeon away"})
    assert response.status_code == 409
    assert latest(operation).or_date != date(2027, 6, 1)


# --- what changed under a confirmation -----------------------------------------------------------


def confirmed(operation: Operation, client: Client) -> None:
    shown = form_to(client.get(page(operation)), to("operation-confirm", operation))
    client.post(to("operation-confirm", operation), shown)


def test_a_confirmed_operation_that_is_no_longer_clear_is_on_top(
    operation: Operation, coordinator: Client
) -> None:
    confirmed(operation, coordinator)
    assert len(unsettled(at=now())) == 0
    revoked(operation)
    assert len(unsettled(at=now())) == 1
    text = words(coordinator.get(reverse("operations")))
    assert "1 confirmed operation has to be looked at again" in text
    assert "no longer clear" in text
    assert "(1 to look at again)" in text


def test_a_confirmed_date_that_moved_is_on_top_until_it_is_settled(
    operation: Operation, coordinator: Client
) -> None:
    confirmed(operation, coordinator)
    moved_by_a_week(operation)
    assert [one.change for one in unsettled(at=now())] == ["date_moved"]
    assert len(unsettled(at=now())) == 1
    confirmed(latest(operation), coordinator)
    assert unsettled(at=now()) == []
    assert len(unsettled(at=now())) == 0


def test_putting_it_on_hold_settles_it(operation: Operation, coordinator: Client) -> None:
    confirmed(operation, coordinator)
    revoked(operation)
    change(operation, at=now(), booking=Booking.ON_HOLD)
    assert unsettled(at=now()) == []
    assert len(unsettled(at=now())) == 0


def test_confirmed_by_the_schedule_alone_and_not_clear_is_on_top(coordinator: Client) -> None:
    an_assignment(operation=an_operation(booking=Booking.CONFIRMED))
    assert [one.change for one in unsettled(at=now())] == ["no_longer_clear"]
    assert "by the schedule" in words(coordinator.get(reverse("operations")))


def test_counting_costs_two_queries_when_nothing_changed(
    operation: Operation, coordinator: Client, django_assert_num_queries: Any
) -> None:
    confirmed(operation, coordinator)
    with django_assert_num_queries(2):  # the programme's time zone, and the question itself
        assert len(unsettled(at=now())) == 0


# --- the list and the search ---------------------------------------------------------------------


def test_the_number_of_queries_does_not_grow_with_the_operations(
    coordinator: Client, django_assert_max_num_queries: Any
) -> None:
    for _ in range(12):
        an_assignment(operation=an_operation(days_ahead=0))
    with django_assert_max_num_queries(34):
        response = coordinator.get(reverse("operations"))
    assert len(response.context["rows"]) == 12


@pytest.mark.parametrize(
    "typed", ["Fuentes", "fuentes marisela", "FÜENTES", "mrn-fs-7", "1980-02-03", "3 Feb 1980"]
)
def test_a_patient_is_found_by_name_birth_date_or_mrn(coordinator: Client, typed: str) -> None:
    patient = a_patient(
        given_names="Marisela",
        family_names="Fuentes de León",
        mrn="MRN-FS-77",
        birth_date=date(1980, 2, 3),
    )
    operation = an_operation(patient=patient)
    an_operation()
    found = coordinator.get(reverse("operations"), {"q": typed}).context["found"]
    assert found.operations == [operation]


def test_a_birth_date_in_numbers_is_tried_both_ways_and_the_page_says_so(
    coordinator: Client,
) -> None:
    for born in (date(1980, 2, 3), date(1980, 3, 2)):
        an_operation(patient=a_patient(birth_date=born))
    response = coordinator.get(reverse("operations"), {"q": "02/03/1980"})
    assert len(response.context["found"].operations) == 2
    assert "both were tried" in words(response)


@pytest.mark.parametrize(
    "typed, days",
    [
        ("1980-02-03", [date(1980, 2, 3)]),
        ("3 Feb 1980", [date(1980, 2, 3)]),
        ("02/03/1980", [date(1980, 2, 3), date(1980, 3, 2)]),
        ("13/02/1980", [date(1980, 2, 13)]),
        ("02/13/1980", [date(1980, 2, 13)]),
        ("30 Feb 1980", []),
        ("Fuentes", []),
        ("", []),
    ],
)
def test_the_days_that_a_search_can_mean(typed: str, days: list[date]) -> None:
    assert list(days_meant(typed)) == days


@pytest.mark.parametrize("typed", ["%", "_", "'; --", "\x00", "🙂", "x" * 100_000, "'\"<b>", "-"])
def test_odd_searches_find_nobody_and_break_nothing(coordinator: Client, typed: str) -> None:
    an_operation()
    response = coordinator.get(reverse("operations"), {"q": typed})
    assert response.status_code == 200
    assert response.context["rows"] == []
    assert "<b>" not in words(response)


@pytest.mark.parametrize("week", ["nonsense", "2026-13-01", "9999-12-31", "0001-01-01", "-1"])
def test_a_week_that_does_not_exist_breaks_nothing(coordinator: Client, week: str) -> None:
    an_operation()
    assert coordinator.get(reverse("operations"), {"week": week}).status_code == 200


def test_without_a_date_and_passed_have_their_own_lists(coordinator: Client) -> None:
    undated, passed = an_operation(days_ahead=None), an_operation(days_ahead=-3)
    for show, expected in (("without-date", undated), ("passed", passed)):
        rows = coordinator.get(reverse("operations"), {"show": show}).context["rows"]
        assert [row.operation for row in rows] == [expected]


# --- cannot tell (fault 20, promise C2) ----------------------------------------------------------


class Failing:
    """Lets every query through but the n-th."""

    def __init__(self, nth: int, error: type[Exception]) -> None:
        self.nth, self.error, self.seen = nth, error, 0

    def __call__(
        self, execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any
    ) -> Any:
        self.seen += 1
        if self.seen == self.nth:
            raise self.error("the connection was lost")
        return execute(sql, params, many, context)


@contextmanager
def failing(nth: int, error: type[Exception]) -> Iterator[Failing]:
    fails = Failing(nth, error)
    with connection.execute_wrapper(fails):
        yield fails


@pytest.mark.parametrize("error", [OperationalError, InterfaceError])
@pytest.mark.parametrize("name", ["operation", "operations"])
def test_whichever_query_fails_no_page_says_confirm(
    operation: Operation, name: str, error: type[Exception]
) -> None:
    """C2: each query of the page in turn; 0 results say confirm, and what is said is 503."""
    client = signed_in(Role.AUDITOR)
    client.raise_request_exception = False
    arguments = [operation.pk] if name == "operation" else []
    week = {"week": str(operation.or_date)}
    address = reverse(name, args=arguments)
    assert "verdict-confirm" in words(client.get(address, week))
    for nth in range(1, 200):
        with failing(nth, error) as fails:
            response = client.get(address, week)
        if fails.seen < nth:
            break
        text = words(response)
        assert response.status_code == 503, nth
        assert "verdict-confirm" not in text
        assert "Do not confirm an OR date" in text
    assert nth > 10  # it really went through them all


@pytest.mark.parametrize("error", [OperationalError, InterfaceError])
def test_whichever_query_fails_while_confirming_either_all_is_recorded_or_nothing(
    operation: Operation, error: type[Exception]
) -> None:
    client = signed_in(Role.COORDINATOR)
    client.raise_request_exception = False
    act = to("operation-confirm", operation)
    failures = 0
    for nth in range(1, 200):
        shown = form_to(client.get(page(operation)), act)
        with failing(nth, error) as fails:
            response = client.post(act, shown)
        booked = latest(operation).booking == Booking.CONFIRMED
        assert Confirmation.objects.exists() == booked
        if fails.seen < nth:
            break
        failures += 1
        assert response.status_code in (409, 503), nth
        if booked:  # only the trail's own entry came too late to be written
            break
    assert failures > 10


def test_cannot_tell_says_what_to_do(
    operation: Operation, coordinator: Client, settings: Any
) -> None:
    """Fault 20."""
    settings.PROGRAMME_PHONE = "555 0134"
    with failing(7, OperationalError):
        response = coordinator.get(page(operation))
    text = words(response)
    assert response.status_code == 503
    assert "Cannot tell" in text
    assert "Do not confirm an OR date on this page" in text
    assert "555 0134" in text
    assert "no-store" in response["Cache-Control"]


def test_a_corrected_name_is_what_the_page_shows(operation: Operation, coordinator: Client) -> None:
    correct(operation.patient, at=now(), source="test", family_names="<b>O’Hara</b>")
    response = coordinator.get(page(operation))
    assert "<b>O’Hara" not in words(response)
    assert "&lt;b&gt;O’Hara" in words(response)


def test_looking_at_an_operation_is_in_the_patients_trail(
    operation: Operation, coordinator: Client
) -> None:
    coordinator.get(page(operation))
    trail = signed_in(Role.AUDITOR).get(reverse("trail"), {"mrn": operation.patient.mrn})
    assert "looked at: operation" in words(trail)
