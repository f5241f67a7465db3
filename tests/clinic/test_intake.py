"""The intake pages: what waits and why, and what staff do about it."""

import re
from datetime import date, timedelta
from typing import TYPE_CHECKING

import pytest
from django.test import Client
from django.urls import reverse

from clinic.models import Role, TrailEntry
from patients import schedule
from patients.clock import now
from patients.models import IntakeMessage, IntakeStep, Operation, Step
from patients.programme import local_day
from tests.factories import a_member, a_procedure, a_programme, signed_in
from tests.hl7_messages import siu, taken

if TYPE_CHECKING:
    from django.test.client import _MonkeyPatchedWSGIResponse as Response

pytestmark = pytest.mark.django_db


@pytest.fixture
def coordinator() -> Client:
    """A client signed in as the coordinator, in a programme with one procedure."""
    a_programme(at=now() - timedelta(days=30))
    a_procedure()
    return signed_in(a_member(Role.COORDINATOR))


def day(ahead: int) -> date:
    return local_day(now()) + timedelta(days=ahead)


def two_dates() -> IntakeMessage:
    """Book an operation, and let a message wait whose parts give two dates."""
    at = now() - timedelta(hours=2)
    taken(siu(sent=at, on=day(30)), at=at)
    first, second = f"{day(37):%Y%m%d}", f"{day(40):%Y%m%d}"
    content = siu(
        "S13",
        control_id="2",
        sent=at + timedelta(minutes=5),
        on=day(37),
        replaced={f"Larkfield East|||{first}": f"Larkfield East|||{second}"},
    )
    message = taken(content, at=at + timedelta(minutes=6)).message
    assert IntakeStep.objects.waiting().get().message == message
    return message


def text(response: "Response") -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.content.decode()))


def hidden(response: "Response", name: str, nth: int = 0) -> str:
    found: list[str] = re.findall(rf'name="{name}" value="([^"]*)"', response.content.decode())
    return found[nth]


def sent(client: Client, act: str, message: IntakeMessage, **typed: str) -> "Response":
    """Open a message's page and press one of its buttons."""
    page = client.get(reverse("intake-message", args=[message.pk]))
    form = {"act_key": hidden(page, "act_key")}
    if act == "intake-apply":
        form["shown"] = hidden(page, "shown")
    else:
        form["shown_step"] = hidden(page, "shown_step")
    return client.post(reverse(act, args=[message.pk]), form | typed)


def test_nothing_has_come_and_nothing_waits_are_two_things(coordinator: Client) -> None:
    assert "No message has come in yet" in text(coordinator.get("/intake/"))
    at = now() - timedelta(hours=1)
    taken(siu(sent=at, on=day(30)), at=at)
    page = text(coordinator.get("/intake/"))
    assert "No schedule message waits" in page
    assert "Every message that came in was applied" in page


def test_the_list_says_what_waits_and_why(coordinator: Client) -> None:
    two_dates()
    at = now() - timedelta(hours=1)
    taken(siu(control_id="3", sent=at, mrn="", case="C9"), at=at)
    page = text(coordinator.get("/intake/"))
    assert "1 schedule message waits for somebody" in page
    assert "Rescheduled: Tobias Quill" in page
    assert "The message gives two different dates for one operation." in page
    assert "PID-3: It is not in the message." in page, "what was refused is told too"
    assert "Intake (1 waiting)" in text(coordinator.get("/operations/"))


def test_the_message_stands_beside_the_record(coordinator: Client) -> None:
    message = two_dates()
    response = coordinator.get(f"/intake/{message.pk}/")
    page = text(response)
    assert "Nothing of this message is on record yet." in page
    assert "Find out which is right, then choose it." in page
    for one in (day(30), day(37), day(40)):
        assert f"{one.day} {one:%B %Y}" in page
    assert "(AIL-6)" in page
    assert "(on record)" in page
    patient = Operation.objects.get().patient_id
    assert TrailEntry.objects.filter(patient_id=patient, act="GET intake-message").exists()


def test_the_date_is_chosen_and_applied(coordinator: Client) -> None:
    message = two_dates()
    missing = sent(coordinator, "intake-apply", message)
    assert (missing.status_code, "Choose the OR date." in text(missing)) == (400, True)
    done = sent(coordinator, "intake-apply", message, or_date=day(40).isoformat(), note="Rang.")
    operation = Operation.objects.get()
    assert done["Location"] == f"/operations/{operation.pk}/"
    assert operation.or_date == day(40)
    step = IntakeStep.objects.in_force().get(message=message)
    assert (step.step, step.note, step.operation) == (Step.APPLIED, "Rang.", operation)
    assert step.by
    assert "This message was applied." in text(coordinator.get(f"/intake/{message.pk}/"))


def test_another_date_can_be_typed(coordinator: Client) -> None:
    message = two_dates()
    for typed, problem in (
        ({"or_date": "another"}, "Give the date."),
        ({"or_date": "another", "another_date": "31.2."}, "This is not a date."),
        ({"or_date": "another", "another_date": "0202-01-01"}, "This year cannot be meant."),
        (
            {"or_date": day(40).isoformat(), "another_date": day(41).isoformat()},
            "Two dates are given",
        ),
    ):
        response = sent(coordinator, "intake-apply", message, **typed)
        assert (response.status_code, problem in text(response)) == (400, True), problem
    sent(coordinator, "intake-apply", message, or_date="another", another_date=f"{day(50)}")
    assert Operation.objects.get().or_date == day(50)


def test_set_aside_with_a_reason_and_taken_up_again(coordinator: Client) -> None:
    message = two_dates()
    missing = sent(coordinator, "intake-set-aside", message)
    assert (missing.status_code, "Write down the reason." in text(missing)) == (400, True)
    sent(coordinator, "intake-set-aside", message, reason="The office has sent it twice.")
    assert not IntakeStep.objects.waiting().exists()
    page = text(coordinator.get(f"/intake/{message.pk}/"))
    assert "This message was set aside." in page
    assert "The office has sent it twice." in page
    assert sent(coordinator, "intake-take-up", message).status_code == 302
    assert IntakeStep.objects.waiting().get().message == message
    assert Operation.objects.get().or_date == day(30)


def test_a_page_that_is_older_than_the_record_applies_nothing(coordinator: Client) -> None:
    """Promise S4."""
    message = two_dates()
    page = coordinator.get(f"/intake/{message.pk}/")
    form = {"act_key": hidden(page, "act_key"), "shown": hidden(page, "shown")}
    schedule.move(Operation.objects.get(), day(33), at=now(), source="a test")
    address = reverse("intake-apply", args=[message.pk])
    refused = coordinator.post(address, form | {"or_date": day(37).isoformat()})
    assert refused.status_code == 409
    assert "Nothing was done: the message or the record changed" in text(refused)
    assert Operation.objects.get().or_date == day(33)


def test_sent_twice_it_is_applied_once(coordinator: Client) -> None:
    message = two_dates()
    page = coordinator.get(f"/intake/{message.pk}/")
    form = {name: hidden(page, name) for name in ("act_key", "shown")}
    form["or_date"] = day(37).isoformat()
    address = reverse("intake-apply", args=[message.pk])
    first, second = coordinator.post(address, form), coordinator.post(address, form)
    assert first["Location"] == second["Location"]
    assert Operation.objects.get().version == 2


def test_did_not_come_offers_the_operation_and_not_to_apply(coordinator: Client) -> None:
    at = now() - timedelta(hours=1)
    taken(siu(sent=at, on=day(30)), at=at)
    content = siu("S26", control_id="2", sent=at + timedelta(minutes=1), status="Noshow")
    message = taken(content, at=at + timedelta(minutes=2)).message
    response = coordinator.get(f"/intake/{message.pk}/")
    assert "That alone changes no date." in text(response)
    assert f"/operations/{Operation.objects.get().pk}/" in response.content.decode()
    assert f"/intake/{message.pk}/apply/" not in response.content.decode()


def test_a_procedure_that_is_not_known_can_be_said(coordinator: Client) -> None:
    at = now() - timedelta(hours=1)
    content = siu(sent=at, on=day(30), procedure="ZZZ^Hernia repair")
    message = taken(content, at=at).message
    assert "Choose the procedure." in text(sent(coordinator, "intake-apply", message))
    sent(coordinator, "intake-apply", message, procedure=str(a_procedure().pk))
    assert Operation.objects.get().procedure == a_procedure()


def test_markup_in_a_name_stays_text(coordinator: Client) -> None:
    """Fault 27."""
    at = now() - timedelta(hours=1)
    message = taken(siu(sent=at, on="", name="<script>x</script>^Ana"), at=at).message
    for address in ("/intake/", f"/intake/{message.pk}/"):
        page = coordinator.get(address).content.decode()
        assert "<script>x" not in page
        assert "&lt;script&gt;x" in page


def test_whoever_only_reads_is_offered_no_button(coordinator: Client) -> None:
    message = two_dates()
    auditor = signed_in(a_member(Role.AUDITOR))
    page = auditor.get(f"/intake/{message.pk}/").content.decode()
    assert '<button class="btn' not in page
    assert "settles it" in page
