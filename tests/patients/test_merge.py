"""Two records of one person are merged, and parted again: what moves, and what is refused."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from patients import keep_apart, other_names
from patients.contact import log_contact
from patients.duplicates import compare_waiting, pairs
from patients.match_keys import rebuild
from patients.merge import (
    LaterMergeFirst,
    MergedAlready,
    MergeRefused,
    SaidToBeTwo,
    SameRecord,
    UndoneAlready,
    merge,
    refusal,
    undo_merge,
    undo_refusal,
    would_move,
    would_return,
)
from patients.models import (
    Contact,
    LikelyDuplicate,
    MatchName,
    Means,
    Merge,
    MergeUndone,
    Operation,
    OperationMoved,
    Outcome,
    Patient,
    PatientChange,
)
from patients.register import correct
from patients.rules.identity import NameKind
from patients.schedule import book, change
from patients.speaks_for import (
    MergedMeanwhile,
    below,
    operations_of,
    speaker,
    speaker_then,
    spoken_for,
)
from tests.education.test_patient_walks import at_once
from tests.factories import a_member, a_patient, a_procedure, an_operation

pytestmark = pytest.mark.django_db

AT = datetime(2026, 3, 2, 15, tzinfo=UTC)
HOUR = timedelta(hours=1)
BORN = date(1984, 2, 29)


@pytest.fixture
def by() -> int:
    return int(a_member("dietitian").pk)


def a_record(mrn: str, **facts: Any) -> Patient:
    facts = {"given_names": "Anneliese", "family_names": "Falkenrath", "birth_date": BORN} | facts
    return a_patient(at=AT, mrn=mrn, **facts)


def merged_into(patient: Patient) -> int | None:
    return Patient.objects.get(pk=patient.pk).merged_into_id


def owners() -> dict[int, int]:
    return dict(Operation.objects.values_list("pk", "patient"))


def do(kept: Patient, merged: Patient, by: int, *, at: datetime = AT + HOUR) -> Merge:
    return merge(kept, merged, reason="one person", at=at, by_id=by)


def part(done: Merge, by: int, *, at: datetime = AT + 2 * HOUR) -> MergeUndone:
    return undo_merge(done, reason="two people after all", at=at, by_id=by)


# --- what moves, and what goes back --------------------------------------------------------------


def test_the_operations_move_and_each_move_is_on_record(by: int) -> None:
    kept, merged = a_record("A"), a_record("B")
    own, moving = an_operation(patient=kept), an_operation(patient=merged)
    assert would_move(kept, merged) == [moving]
    done = do(kept, merged, by)
    assert owners() == {own.pk: kept.pk, moving.pk: kept.pk}
    assert merged_into(merged) == kept.pk
    move = OperationMoved.objects.get()
    assert (move.operation, move.merge) == (moving, done)
    assert (move.from_patient, move.to_patient) == (merged, kept)
    assert move.recorded_at == done.recorded_at


def test_undoing_gives_back_what_moved_and_leaves_what_came_after(by: int) -> None:
    kept, merged = a_record("A"), a_record("B")
    own, moving = an_operation(patient=kept), an_operation(patient=merged)
    done = do(kept, merged, by)
    later = an_operation(patient=kept)
    change(moving, at=AT + HOUR, surgeon="Dr. Wren Castellane")  # moved, and changed since
    assert would_return(done) == [moving]
    part(done, by)
    assert owners() == {own.pk: kept.pk, moving.pk: merged.pk, later.pk: kept.pk}
    assert merged_into(merged) is None
    assert Operation.objects.get(pk=moving.pk).surgeon == "Dr. Wren Castellane"
    assert [(m.from_patient, m.to_patient) for m in OperationMoved.objects.all()] == [
        (merged, kept),
        (kept, merged),
    ]


def test_history_stays_where_it_was_written(by: int) -> None:
    kept, merged = a_record("A"), a_record("B")
    log_contact(
        merged, means=Means.CALL, outcome=Outcome.REACHED, at=AT, by_id=by, note="in the evening"
    )
    before = [list(rows.objects.order_by("pk").values()) for rows in (PatientChange, Contact)]
    part(do(kept, merged, by), by)
    after = [list(rows.objects.order_by("pk").values()) for rows in (PatientChange, Contact)]
    assert after == before


def test_merged_again_after_undoing_and_the_other_way_round(by: int) -> None:
    kept, merged = a_record("A"), a_record("B")
    operation = an_operation(patient=merged)
    part(do(kept, merged, by), by)
    second = do(merged, kept, by, at=AT + 3 * HOUR)
    assert owners() == {operation.pk: merged.pk}
    assert would_return(second) == []
    part(second, by, at=AT + 4 * HOUR)
    third = do(kept, merged, by, at=AT + 5 * HOUR)
    assert owners() == {operation.pk: kept.pk}
    assert would_return(third) == [operation]


# --- chains --------------------------------------------------------------------------------------


def test_what_was_merged_before_comes_along_and_goes_back(by: int) -> None:
    one, two, three = (a_record(mrn) for mrn in "ABC")
    operation = an_operation(patient=three)
    inner = do(two, three, by)
    outer = do(one, two, by, at=AT + 2 * HOUR)
    assert owners() == {operation.pk: one.pk}
    assert spoken_for([one.pk]) == {p.pk: one.pk for p in (one, two, three)}
    assert speaker(three) == one
    with pytest.raises(LaterMergeFirst) as refused:
        part(inner, by, at=AT + 3 * HOUR)
    assert refused.value.later == outer
    part(outer, by, at=AT + 4 * HOUR)
    assert owners() == {operation.pk: two.pk}
    assert speaker(three) == two
    assert spoken_for([one.pk, two.pk]) == {one.pk: one.pk, two.pk: two.pk, three.pk: two.pk}
    part(inner, by, at=AT + 5 * HOUR)
    assert owners() == {operation.pk: three.pk}
    assert [merged_into(p) for p in (one, two, three)] == [None, None, None]


def test_of_two_records_merged_into_one_either_can_be_parted_first(by: int) -> None:
    one, two, three = (a_record(mrn) for mrn in "ABC")
    of_two, of_three = an_operation(patient=two), an_operation(patient=three)
    first = do(one, two, by)
    do(one, three, by, at=AT + 2 * HOUR)
    part(first, by, at=AT + 3 * HOUR)
    assert owners() == {of_two.pk: two.pk, of_three.pk: one.pk}


def test_who_spoke_for_whom_and_whose_an_operation_was_can_be_asked_for_any_instant(
    by: int,
) -> None:
    one, two, three = (a_record(mrn) for mrn in "ABC")
    operation = an_operation(patient=three)
    inner = do(two, three, by, at=AT + 1 * HOUR)
    outer = do(one, two, by, at=AT + 3 * HOUR)
    part(outer, by, at=AT + 5 * HOUR)
    part(inner, by, at=AT + 7 * HOUR)
    for hours, speaks in ((0, three), (2, two), (4, one), (6, two), (8, three)):
        then = AT + hours * HOUR
        assert speaker_then(three, known_at=then) == speaks, hours
        for patient in (one, two, three):
            has = [operation.pk] if patient == speaks else []
            assert operations_of(patient, known_at=then) == has, (hours, patient)
        assert spoken_for([speaks.pk], known_at=then)[three.pk] == speaks.pk
    # An instant is before what happened at it, as the end of a day is.
    assert speaker_then(three, known_at=AT + HOUR) == three
    assert operations_of(three, known_at=AT + HOUR) == [operation.pk]


# --- what is refused -----------------------------------------------------------------------------


def test_a_record_is_not_merged_with_itself(by: int) -> None:
    record = a_record("A")
    with pytest.raises(SameRecord):
        do(record, record, by)
    assert isinstance(refusal(record, record), SameRecord)


@pytest.mark.parametrize("side", ["kept", "merged"])
def test_a_record_that_was_merged_already_is_refused_on_either_side(by: int, side: str) -> None:
    one, two, three = (a_record(mrn) for mrn in "ABC")
    done = do(one, two, by)
    pair = (two, three) if side == "kept" else (three, two)
    with pytest.raises(MergedAlready) as refused:
        do(*pair, by)
    assert (refused.value.record, refused.value.merge) == (two, done)
    assert isinstance(refusal(*pair), MergedAlready)
    assert Merge.objects.count() == 1


def test_two_who_are_kept_apart_are_refused_until_that_is_taken_back(by: int) -> None:
    one, two, three = (a_record(mrn) for mrn in "ABC")
    apart = keep_apart.keep_apart(one, three, at=AT, by_id=by)
    with pytest.raises(SaidToBeTwo) as refused:
        do(three, one, by)
    assert refused.value.kept_apart == apart
    do(two, three, by)
    with pytest.raises(SaidToBeTwo):  # a record that was merged into the other one
        do(one, two, by)
    keep_apart.end(apart, at=AT, by_id=by)
    assert refusal(one, two) is None
    do(one, two, by)


def test_a_merge_is_undone_once(by: int) -> None:
    done = do(a_record("A"), a_record("B"), by)
    undone = part(done, by)
    with pytest.raises(UndoneAlready) as refused:
        part(done, by)
    assert refused.value.undone == undone
    assert isinstance(undo_refusal(done), UndoneAlready)
    assert MergeUndone.objects.count() == 1


def test_a_merge_needs_a_reason(by: int) -> None:
    kept, merged = a_record("A"), a_record("B")
    with pytest.raises(IntegrityError), transaction.atomic():
        merge(kept, merged, reason="", at=AT, by_id=by)
    assert merged_into(merged) is None


def test_nothing_is_refused_when_nothing_stands_against_it(by: int) -> None:
    kept, merged = a_record("A"), a_record("B")
    assert refusal(kept, merged) is None
    assert undo_refusal(do(kept, merged, by)) is None


@pytest.mark.django_db(transaction=True)
def test_two_people_merge_at_once_and_the_second_is_refused() -> None:
    """Each the way round that the other one did not choose: one record is kept, not none."""
    by = int(a_member("dietitian").pk)
    one, two = a_record("A"), a_record("B")
    operation = an_operation(patient=two)

    def press(place: int) -> Merge:
        return do(*((one, two) if place % 2 else (two, one)), by)

    outcomes = at_once(6, press)
    done = [outcome for outcome in outcomes if isinstance(outcome, Merge)]
    assert len(done) == 1, outcomes
    assert all(isinstance(o, MergedAlready) for o in outcomes if o not in done), outcomes
    assert Merge.objects.count() == 1
    assert owners() == {operation.pk: done[0].kept_id}


@pytest.mark.django_db(transaction=True)
def test_undoing_at_once_happens_once() -> None:
    by = int(a_member("dietitian").pk)
    kept, merged = a_record("A"), a_record("B")
    operation = an_operation(patient=merged)
    done = do(kept, merged, by)
    outcomes = at_once(6, lambda place: part(done, by))
    assert sum(isinstance(outcome, MergeUndone) for outcome in outcomes) == 1, outcomes
    assert sum(isinstance(outcome, UndoneAlready) for outcome in outcomes) == 5, outcomes
    assert owners() == {operation.pk: merged.pk}
    assert OperationMoved.objects.count() == 2


@pytest.mark.django_db(transaction=True)
def test_an_operation_booked_at_the_instant_of_a_merge_is_the_kept_patients() -> None:
    by = int(a_member("dietitian").pk)
    kept, merged = a_record("A"), a_record("B")
    procedure = a_procedure()

    def either(place: int) -> object:
        if place == 3:
            return do(kept, merged, by)
        return book(patient=merged, procedure=procedure, at=AT, case_number=f"C-{place}")

    outcomes = at_once(6, either)
    assert not [o for o in outcomes if isinstance(o, Exception)], outcomes
    assert set(owners().values()) == {kept.pk}
    assert Operation.objects.count() == 5


# --- what else acts on a record ------------------------------------------------------------------


def test_a_merged_record_is_not_corrected_and_gets_no_name(by: int) -> None:
    kept, merged = a_record("A"), a_record("B")
    do(kept, merged, by)
    with pytest.raises(MergedMeanwhile) as refused:
        correct(merged, at=AT, source="phone", email="other@example.org")
    assert refused.value.speaker == kept
    with pytest.raises(MergedMeanwhile):
        other_names.add(
            merged,
            kind=NameKind.FORMER,
            given_names="Liesl",
            family_names="Okonjo",
            at=AT,
            by_id=by,
            source="phone",
        )


def test_what_is_booked_or_logged_for_a_merged_record_is_the_kept_patients(by: int) -> None:
    kept, merged = a_record("A"), a_record("B")
    do(kept, merged, by)
    assert book(patient=merged, procedure=a_procedure(), at=AT).patient == kept
    contact = log_contact(merged, means=Means.CALL, outcome=Outcome.REACHED, at=AT, by_id=by)
    assert contact.patient == kept


# --- the look-up and the pairs -------------------------------------------------------------------


def names_of(patient: Patient) -> set[tuple[str, str, str]]:
    rows = MatchName.objects.filter(patient=patient)
    return set(rows.values_list("kind", "given", "family"))


def test_the_kept_patient_is_found_under_the_merged_records_names_until_they_are_parted(
    by: int,
) -> None:
    one, two = a_record("A"), a_record("B", given_names="Liesl", family_names="Okonjo")
    three = a_record("C", given_names="Tobias", family_names="Holm")
    inner = do(two, three, by)
    outer = do(one, two, by, at=AT + 2 * HOUR)
    assert names_of(one) == {
        ("current", "anneliese", "falkenrath"),
        ("former", "liesl", "okonjo"),
        ("former", "tobias", "holm"),
    }
    assert names_of(two) == names_of(three) == set()
    assert not rebuild(mend=False)
    part(outer, by, at=AT + 3 * HOUR)
    assert names_of(one) == {("current", "anneliese", "falkenrath")}
    assert names_of(two) == {("current", "liesl", "okonjo"), ("former", "tobias", "holm")}
    part(inner, by, at=AT + 4 * HOUR)
    assert names_of(three) == {("current", "tobias", "holm")}
    assert not rebuild(mend=False)


def test_a_name_of_a_merged_record_can_be_ended_and_nobody_is_found_under_it(by: int) -> None:
    kept, merged = a_record("A"), a_record("B")
    name = other_names.add(
        merged,
        kind=NameKind.FORMER,
        given_names="Liesl",
        family_names="Okonjo",
        at=AT,
        by_id=by,
        source="phone",
    )
    do(kept, merged, by)
    assert ("former", "liesl", "okonjo") in names_of(kept)
    other_names.end(name, reason="her sister's", at=AT, by_id=by)
    assert ("former", "liesl", "okonjo") not in names_of(kept)
    assert not rebuild(mend=False)


def test_the_pair_goes_with_the_merge_and_comes_back_when_they_are_parted(by: int) -> None:
    kept, merged, third = a_record("A"), a_record("B"), a_record("C")
    assert compare_waiting(at=AT)
    assert pairs().count() == 3
    done = do(kept, merged, by)
    assert [(p.one, p.other) for p in pairs()] == [(kept, third)]
    assert not LikelyDuplicate.objects.filter(other=merged).exists()
    assert compare_waiting(at=AT)
    assert pairs().count() == 1
    part(done, by)
    assert compare_waiting(at=AT)
    assert pairs().count() == 3


def test_a_refusal_is_one_kind_of_exception() -> None:
    for kind in (SameRecord, MergedAlready, SaidToBeTwo, UndoneAlready, LaterMergeFirst):
        assert issubclass(kind, MergeRefused)


def test_who_speaks_now_is_what_the_merges_say(by: int) -> None:
    """`Patient.merged_into` is kept by the acts; the rows of Merge are the record."""
    records = [a_record(mrn) for mrn in "ABCDE"]
    a, b, c, d, e = records
    steps: list[Callable[[datetime], object]] = [
        lambda at: do(b, c, by, at=at),
        lambda at: do(d, e, by, at=at),
        lambda at: do(b, d, by, at=at),
        lambda at: do(a, b, by, at=at),
        lambda at: part(Merge.objects.get(kept=a), by, at=at),
        lambda at: part(Merge.objects.get(kept=b, merged=c), by, at=at),
        lambda at: do(c, b, by, at=at),
    ]
    for number, step in enumerate(steps, start=1):
        at = AT + number * HOUR
        step(at)
        for record in records:
            speaks = speaker_then(record, known_at=at + HOUR / 2)
            assert speaker(record) == speaks, (number, record.mrn)
            assert record.pk in below([speaks.pk])
