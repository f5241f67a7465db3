"""Schedule messages taken in: applied, kept for a person, once, and never an older fact."""

import itertools
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from clinic.models import Role
from patients import register, schedule
from patients.compare_message import Choice
from patients.import_messages import Imported, apply, preview
from patients.import_schedule import apply as apply_file
from patients.intake import Conflict
from patients.models import Booking, IntakeMessage, IntakeStep, Operation, Patient, Step
from patients.rules.message_reading import NotTaken
from patients.rules.schedule_changes import Verdict
from patients.settle_message import (
    CannotApply,
    SettledMeanwhile,
    apply_message,
    look,
    set_aside,
    take_up,
)
from tests.factories import a_member, a_patient, a_procedure, a_programme, an_operation
from tests.hl7_messages import HL7_S13, VENDOR_S12, siu, taken
from tests.which_database import ON_POSTGRES

pytestmark = pytest.mark.django_db
AT = datetime(2026, 6, 2, 12, tzinfo=UTC)
SENT = datetime(2026, 6, 1, 12, tzinfo=UTC)
AUGUST, LATER = date(2026, 8, 12), date(2026, 8, 20)
HEADER = "MRN,Last Name,First Name,DOB,Case Number,Procedure,OR Date\n"


@pytest.fixture(autouse=True)
def programme() -> None:
    a_programme(at=AT - timedelta(days=30))
    a_procedure()


def somebody() -> int:
    """Return the id of a member of staff."""
    return a_member(Role.COORDINATOR).pk


def hours(count: float) -> datetime:
    """Return an instant some hours after the first message."""
    return SENT + timedelta(hours=count)


def came(content: bytes, at: datetime = AT) -> Step:
    return Step(taken(content, at=at).step.step)


def or_date() -> date | None:
    return Operation.objects.get().or_date


def reasons(step: IntakeStep) -> set[str]:
    return {kept["what"] for kept in step.reasons if kept["kind"] in ("doubt", "problem")}


def test_new_moved_changed_cancelled() -> None:
    assert came(siu(sent=hours(0))) == Step.APPLIED
    operation = Operation.objects.get()
    assert (operation.or_date, operation.booking) == (AUGUST, Booking.PROPOSED)
    assert operation.patient.mrn == "M1"
    assert came(siu("S13", control_id="2", sent=hours(1), on=LATER)) == Step.APPLIED
    assert or_date() == LATER
    changed = siu("S14", control_id="3", sent=hours(2), on=LATER, surgeon="Imrie^Hale")
    assert came(changed) == Step.APPLIED
    assert Operation.objects.get().surgeon == "Hale Imrie"
    again = siu("S14", control_id="4", sent=hours(3), on=LATER, surgeon="Imrie^Hale")
    assert came(again) == Step.UNCHANGED
    ended = siu("S15", control_id="5", sent=hours(4), on="", status="Cancelled")
    assert came(ended) == Step.APPLIED
    operation.refresh_from_db()
    assert (operation.booking, operation.or_date) == (Booking.CANCELLED, LATER)
    assert operation.changes.get(version=2).source == "schedule message from OR LARK"
    assert IntakeStep.objects.filter(operation=operation).count() == 5


def test_the_published_s12_sets_no_date() -> None:
    """HL7-2: SCH and AIL disagree by three days (fault 30)."""
    at = datetime(2011, 6, 13, 12, tzinfo=UTC)
    patient = a_patient(mrn="42", given_names="One", family_names="Test", at=at)
    register.correct(patient, birth_date=date(1978, 10, 12), at=at, source="a test")
    operation = an_operation(
        patient=patient, case_number="2196178^2196178", or_date=date(2011, 6, 20), at=at
    )
    result = taken(VENDOR_S12, at=at + timedelta(hours=1))
    assert result.step.step == Step.WAITS
    assert "dates_differ" in reasons(result.step)
    operation.refresh_from_db()
    assert (operation.or_date, operation.version) == (date(2011, 6, 20), 1)
    step = settle(result.message, Choice(or_date=date(2011, 6, 17)), at=at + timedelta(hours=2))
    assert step.step == Step.APPLIED
    operation.refresh_from_db()
    assert operation.or_date == date(2011, 6, 17), "the one that the person chose"


def test_the_standards_s13_moves_the_date_once_somebody_says_so() -> None:
    """HL7-1: the key is that of the booking, so the operation is moved and not booked anew."""
    at = datetime(2007, 1, 3, 12, tzinfo=UTC)
    facts = {"mrn": "484848", "given_names": "One", "family_names": "Test"}
    patient = a_patient(**facts, birth_date=date(1940, 11, 21), at=at)
    operation = an_operation(
        patient=patient, case_number="2007567^SCH100", or_date=date(2007, 1, 6), at=at
    )
    surgeon = operation.surgeon
    result = taken(HL7_S13, at=at + timedelta(days=2))
    assert result.step.step == Step.WAITS
    missing = [k["where"] for k in result.step.reasons if k["what"] == "required_missing"]
    assert missing == ["SCH-6", "SCH-20"]
    assert [k["where"] for k in result.step.reasons if k["kind"] == "warning"] == ["SCH-25"]
    operation.refresh_from_db()
    assert operation.or_date == date(2007, 1, 6)
    settle(result.message, Choice(), at=at + timedelta(days=2, hours=1))
    operation.refresh_from_db()
    assert (operation.or_date, operation.surgeon) == (date(2007, 1, 9), surgeon)
    assert Operation.objects.count() == 1


def settle(message: IntakeMessage, choice: Choice, at: datetime = AT) -> IntakeStep:
    shown = look(message, at=at).shown
    return apply_message(message, shown=shown, at=at, by_id=somebody(), choice=choice)


def test_a_message_is_taken_once() -> None:
    first = taken(siu(sent=hours(0)), at=AT)
    taken(siu("S13", control_id="2", sent=hours(1), on=LATER), at=AT)
    again = taken(siu(sent=hours(0)), at=AT + timedelta(days=1))
    assert again.repeated
    assert again.step == first.step, "answered as the first time"
    assert (or_date(), IntakeMessage.objects.count()) == (LATER, 2)
    with pytest.raises(Conflict):
        taken(siu(sent=hours(5), on=LATER), at=AT)
    assert IntakeMessage.objects.count() == 2
    # The same number from another sender is another message.
    other = siu("S13", sent=hours(6), on=AUGUST, replaced={"|OR|LARK|": "|OR|EAST|"})
    assert came(other) == Step.APPLIED


def test_an_older_message_writes_nothing() -> None:
    taken(siu("S13", control_id="2", sent=hours(2), on=LATER), at=AT)
    assert came(siu(sent=hours(0), on=AUGUST)) == Step.OVERTAKEN
    assert or_date() == LATER


def test_two_messages_of_one_time_need_somebody() -> None:
    """Senders that write minutes only give two messages one time."""
    taken(siu(sent=hours(2)), at=AT)
    result = taken(siu("S13", control_id="2", sent=hours(2), on=LATER), at=AT)
    assert (result.step.step, reasons(result.step)) == (Step.WAITS, {"same_time"})
    assert or_date() == AUGUST


def test_what_staff_did_later_is_not_overwritten_by_a_message_sent_before() -> None:
    taken(siu(sent=hours(0)), at=hours(0.1))
    operation = Operation.objects.get()
    schedule.move(operation, date(2026, 9, 1), at=hours(2), by_id=somebody())
    late = taken(siu("S13", control_id="2", sent=hours(1), on=LATER), at=hours(3))
    assert (late.step.step, reasons(late.step)) == (Step.WAITS, {"changed_here_since"})
    assert or_date() == date(2026, 9, 1)
    newer = siu("S13", control_id="3", sent=hours(4), on=LATER)
    assert came(newer, hours(5)) == Step.APPLIED
    assert or_date() == LATER
    assert IntakeStep.objects.in_force().get(message=late.message).step == Step.OVERTAKEN


def test_an_older_message_leaves_the_patients_newer_facts_alone() -> None:
    taken(siu(sent=hours(0)), at=hours(0.1))
    patient = Patient.objects.get()
    register.correct(patient, phone="3125559999", at=hours(2), source="a test", by_id=somebody())
    other = siu(control_id="2", sent=hours(1), case="C2^OR", on=LATER, procedure="RYGB^Bypass")
    a_procedure("RYGB", "Bypass")
    result = taken(other, at=hours(3))
    assert result.step.step == Step.APPLIED
    patient.refresh_from_db()
    assert (patient.phone, patient.operations.count()) == ("3125559999", 2)
    assert "record_is_newer" in {kept["what"] for kept in result.step.reasons}


def test_a_confirmed_date_that_is_moved_is_confirmed_no_more() -> None:
    taken(siu(sent=hours(0)), at=hours(0.1))
    schedule.change(Operation.objects.get(), at=hours(0.2), booking=Booking.CONFIRMED)
    same = siu("S14", control_id="2", sent=hours(1), surgeon="Imrie^Hale")
    assert came(same) == Step.APPLIED
    assert Operation.objects.get().booking == Booking.CONFIRMED
    assert came(siu("S13", control_id="3", sent=hours(2), on=LATER)) == Step.APPLIED
    assert Operation.objects.get().booking == Booking.PROPOSED


def test_did_not_come_changes_nothing_and_waits() -> None:
    taken(siu(sent=hours(0)), at=AT)
    result = taken(siu("S26", control_id="2", sent=hours(1), status="Noshow", on=LATER), at=AT)
    assert (result.step.step, reasons(result.step)) == (Step.WAITS, {"did_not_come"})
    assert (or_date(), Operation.objects.get().version) == (AUGUST, 1)
    with pytest.raises(CannotApply):
        settle(result.message, Choice())


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (siu(procedure="ZZZ^Hernia repair"), "procedure_unknown"),
        (siu(procedure="^"), "missing"),
        (siu(on=""), "no_date"),
        (siu(on="20260501"), "worth_a_look"),  # a day that has passed
        (siu(sent=datetime(2026, 6, 3, tzinfo=UTC)), "sent_in_future"),
        (siu(sent=""), "no_send_time"),
    ],
)
def test_what_waits_for_somebody(content: bytes, reason: str) -> None:
    result = taken(content, at=AT)
    assert result.step.step == Step.WAITS
    assert reason in reasons(result.step)
    assert not Operation.objects.exists()
    assert result.verdict == Verdict.REJECTED


def test_a_clock_that_is_ten_minutes_wrong_stops_nothing() -> None:
    assert came(siu(sent=AT + timedelta(minutes=10))) == Step.APPLIED  # fault 18


def test_somebody_elses_number_waits_and_enrols_nobody() -> None:
    taken(siu(sent=hours(0)), at=AT)
    stranger = siu(control_id="2", sent=hours(1), case="C2^OR", name="Imrie^Hale", born="19700101")
    result = taken(stranger, at=AT)
    assert reasons(result.step) == {"mrn_of_somebody_else"}
    twin = siu(control_id="3", sent=hours(1), case="C3^OR", mrn="M9")
    assert reasons(taken(twin, at=AT).step) == {"worth_a_look"}, "a possible duplicate"
    assert Patient.objects.count() == 1


def test_an_operation_that_a_file_booked_without_the_namespace() -> None:
    content = HEADER + "M1,Quill,Tobias,1980-02-03,C1,SLV,2026-08-12\n"
    apply_file(content.encode(), day_first=None, at=hours(-5))
    assert came(siu("S13", sent=hours(0), on=LATER)) == Step.APPLIED
    operation = Operation.objects.get()
    assert (operation.case_number, operation.or_date) == ("C1", LATER)


def test_what_cannot_be_read_is_refused_and_kept() -> None:
    result = taken(siu(mrn=""), at=AT)
    assert result.step.step == Step.REFUSED
    assert result.step.reasons[0]["where"] == "PID-3"
    assert bytes(result.message.content) == siu(mrn="")
    with pytest.raises(NotTaken):
        taken(siu(replaced={"SIU^S12": "ADT^A01"}), at=AT)
    assert IntakeMessage.objects.count() == 1


def test_a_person_says_which_procedure_it_is() -> None:
    message = taken(siu(procedure="ZZZ^Hernia repair"), at=AT).message
    with pytest.raises(CannotApply):
        settle(message, Choice())
    settle(message, Choice(procedure_id=a_procedure().pk))
    assert Operation.objects.get().procedure.code == "SLV"


def test_set_aside_and_taken_up_again() -> None:
    message = taken(siu(on=""), at=AT).message
    member = somebody()
    waits = IntakeStep.objects.get(message=message)
    aside = set_aside(message, shown_step=waits.pk, reason="Twice.", at=AT, by_id=member)
    assert not IntakeStep.objects.waiting().exists()
    with pytest.raises(SettledMeanwhile):  # another page that still shows it waiting
        set_aside(message, shown_step=waits.pk, reason="Twice.", at=AT, by_id=member)
    take_up(message, shown_step=aside.pk, at=AT, by_id=member)
    assert IntakeStep.objects.waiting().get().message == message
    settle(message, Choice(or_date=LATER))
    assert or_date() == LATER


def test_a_page_older_than_the_record_applies_nothing() -> None:
    taken(siu(sent=hours(0)), at=hours(0.1))
    message = taken(siu("S13", control_id="2", sent=hours(1), on=""), at=hours(2)).message
    shown = look(message, at=hours(2)).shown
    schedule.move(Operation.objects.get(), LATER, at=hours(3), by_id=somebody())
    with pytest.raises(SettledMeanwhile):
        apply_message(
            message, shown=shown, at=hours(4), by_id=somebody(), choice=Choice(or_date=AUGUST)
        )
    assert or_date() == LATER


# Files of messages


def counted(found: Imported) -> tuple[int, int, int, int]:
    assert sum(found.counts.values()) == len(found.lines)
    created, updated, unchanged, rejected = (found.counts[verdict] for verdict in Verdict)
    return created, updated, unchanged, rejected


def test_a_file_is_previewed_and_then_applied_in_one_go() -> None:
    content = b"".join(
        (
            siu(sent=hours(0)),
            siu("S13", control_id="2", sent=hours(1), on=LATER),
            siu("S13", control_id="2", sent=hours(1), on=LATER),  # twice in the file
            siu("S13", control_id="3", sent=hours(0.5), on=AUGUST),  # late
            siu(control_id="4", sent=hours(1), mrn="M2", case="C2^OR", on="", name="Imrie^Hale"),
            siu(control_id="5", replaced={"SIU^S12": "ADT^A01"}),
        )
    )
    found = preview(content, at=AT)
    assert counted(found) == (1, 1, 2, 2)
    assert found.waiting == 1
    assert not IntakeMessage.objects.exists(), "a preview writes nothing"
    assert not Patient.objects.exists()
    assert counted(apply(content, at=AT)) == (1, 1, 2, 2)
    assert or_date() == LATER
    assert counted(apply(content, at=AT)) == (0, 0, 5, 1), "again: all of it was taken before"


def test_many_messages_at_once_take_few_queries(
    django_assert_max_num_queries: "object",
) -> None:
    letters = "abcdefghijklmnopqrst"
    few, many = (
        [
            siu(
                control_id=f"{count}-{n}",
                sent=hours(0),
                mrn=f"M{count}-{n}",
                case=f"C{count}-{n}",
                name=f"Quill{letters[n]}{letters[count % 20]}^Tobias",
                born=f"19800{1 + n % 9}1{n % 10}",
            )
            for n in range(count)
        ]
        for count in (2, 20)
    )
    asked = []
    for contents in (few, many):
        with django_assert_max_num_queries(100) as captured:  # type: ignore[operator]
            assert counted(apply(b"".join(contents), at=AT))[0] == len(contents)
        asked.append(len(captured))
    assert asked[1] <= asked[0] + 2


# In whatever order they come


FACTS = st.lists(
    st.tuples(st.sampled_from(["S12", "S13", "S14", "S15"]), st.integers(1, 28)),
    min_size=1,
    max_size=5,
)


class InWhateverOrder(TestCase):
    """Messages about one operation, delivered in any order and with repeats."""

    @settings(
        max_examples=10 if ON_POSTGRES else 30,
        deadline=None,
        suppress_health_check=[HealthCheck.function_scoped_fixture],
    )
    @given(facts=FACTS, data=st.data())
    def test_the_newest_fact_stands(
        self, facts: list[tuple[str, int]], data: st.DataObject
    ) -> None:
        a_programme(at=AT - timedelta(days=30))
        a_procedure()
        sent = [
            siu(
                trigger,
                control_id=str(place),
                sent=SENT + timedelta(minutes=place),
                on=date(2026, 8, day),
                status="Cancelled" if trigger == "S15" else "Booked",
            )
            for place, (trigger, day) in enumerate(facts)
        ]
        order = data.draw(st.permutations([*sent, *data.draw(st.lists(st.sampled_from(sent)))]))
        for content, minute in zip(order, itertools.count(), strict=False):
            taken(content, at=AT + timedelta(minutes=minute))
        trigger, day = facts[-1]
        operation = Operation.objects.get()
        assert operation.or_date == date(2026, 8, day)
        assert (operation.booking == Booking.CANCELLED) is (trigger == "S15")
        assert not IntakeStep.objects.waiting().exists()
        assert IntakeMessage.objects.count() == len(facts)
