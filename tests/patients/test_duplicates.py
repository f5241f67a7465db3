"""Likely duplicates: found by the engine, kept true, and kept from view where people said so."""

import logging
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import IntegrityError, transaction

from patients import duplicates, keep_apart, other_names
from patients.duplicates import compare_waiting, find_duplicates, pairs, waiting
from patients.lookup import likely_same
from patients.merge import merge
from patients.models import KeptApart, LikelyDuplicate, Patient
from patients.register import correct
from patients.rules.identity import NameKind
from patients.speaks_for import MergedMeanwhile
from patients.tasks import find_duplicates as task
from tests.beside import Beside
from tests.factories import a_member, a_patient

pytestmark = pytest.mark.django_db

AT = datetime(2026, 3, 2, 15, tzinfo=UTC)
LATER = AT + timedelta(days=1)
BORN = date(1984, 2, 29)


def anneliese(family: str = "Falkenrath", *, given: str = "Anneliese") -> Patient:
    return a_patient(at=AT, given_names=given, family_names=family, birth_date=BORN)


def shown() -> set[tuple[int, int]]:
    return {(row.one_id, row.other_id) for row in pairs()}


def compared() -> set[tuple[int, int]]:
    assert compare_waiting(at=LATER)
    return shown()


# The other record's given name, family name and date of birth; whether it is likely the same.
# By the expectation of a dietitian, not by the engine's own weights.
OTHERS = [
    ("Anneliese", "Falkenrath", BORN, True, "entered twice"),
    ("Annelise", "Falkenrath", BORN, True, "one letter off"),
    ("Falkenrath", "Anneliese", BORN, True, "fields exchanged"),
    ("Anneliese", "Falkenrath", date(1984, 2, 28), True, "one digit of the date off"),
    ("Thaddeus", "Ogletree", BORN, False, "another name"),
    ("Anneliese", "Ogletree", date(1951, 7, 4), False, "another name and date"),
]


@pytest.mark.parametrize("given, family, born, likely, why", OTHERS)
def test_the_engine_says_who_may_be_one_person(
    given: str, family: str, born: date, likely: bool, why: str
) -> None:
    for number in range(30):  # a register with other people on it
        a_patient(at=AT, given_names=f"Bystander{number}")
    one = anneliese()
    other = a_patient(at=AT, given_names=given, family_names=family, birth_date=born)
    assert compared() == ({(one.pk, other.pk)} if likely else set()), why


def test_a_pair_is_kept_with_the_engines_reasons_the_older_record_first() -> None:
    one, other = anneliese(), anneliese("Falkenrat")
    compared()
    [row] = LikelyDuplicate.objects.all()
    assert (row.one, row.other, row.recorded_at) == (one, other, LATER)
    assert {"birth_date_equal", "given_name_equal"} <= set(row.reasons)


def test_the_strongest_pair_comes_first() -> None:
    anneliese(), anneliese()
    for given in ("Tobias", "Tobiah"):
        a_patient(given_names=given, family_names="Okonjo", birth_date=date(1970, 5, 6))
    compared()
    weights = [row.weight for row in pairs()]
    assert len(weights) == 2
    assert weights == sorted(weights, reverse=True)


def test_a_corrected_record_takes_its_pair_away_and_brings_it_back() -> None:
    one, other = anneliese(), anneliese()
    assert compared() == {(one.pk, other.pk)}
    correct(
        other, at=LATER, source="x", given_names="Thaddeus", family_names="Ogletree",
        birth_date=date(1951, 7, 4),
    )  # fmt: skip
    assert compared() == set()
    correct(
        other, at=LATER, source="x", given_names="Anneliese", family_names="Falkenrath",
        birth_date=BORN,
    )  # fmt: skip
    assert compared() == {(one.pk, other.pk)}


def test_a_former_name_finds_the_record_that_was_made_under_it() -> None:
    one, other = anneliese(), anneliese("Ruiz-Whitcombe", given="Oda")
    assert compared() == set()
    other_names.add(
        other,
        kind=NameKind.FORMER,
        given_names="Anneliese",
        family_names="Falkenrath",
        at=LATER,
        by_id=None,
        source="told us",
    )
    assert compared() == {(one.pk, other.pk)}
    assert "by_former_name" in LikelyDuplicate.objects.get().reasons


def test_twice_is_once() -> None:
    one, other = anneliese(), anneliese()
    compared()
    assert not waiting().exists()
    first = LikelyDuplicate.objects.get()
    assert find_duplicates(at=LATER + timedelta(days=1)) == 2
    again = LikelyDuplicate.objects.get()
    assert (again.pk, again.recorded_at) == (first.pk, first.recorded_at), "found when it was found"
    assert shown() == {(one.pk, other.pk)}


def test_only_those_asked_for_are_compared() -> None:
    one, _ = anneliese(), anneliese()
    alone = a_patient()
    assert find_duplicates([alone.pk], at=LATER) == 1
    assert shown() == set()
    assert find_duplicates([one.pk], at=LATER) == 1
    assert len(shown()) == 1


def test_a_merged_record_is_in_no_pair() -> None:
    one, other = anneliese(), anneliese()
    compared()
    Patient.objects.filter(pk=other.pk).update(merged_into=one)
    assert shown() == set(), "at once"
    find_duplicates(at=LATER)
    assert not LikelyDuplicate.objects.exists()


def test_two_people_are_kept_from_view_until_it_is_taken_back() -> None:
    one, other = anneliese(), anneliese()
    by = a_member("dietitian")
    compared()
    # In either order, and said twice it is said once.
    kept = keep_apart.keep_apart(other, one, note="Twins", at=LATER, by_id=by.pk)
    assert keep_apart.keep_apart(one, other, at=LATER, by_id=by.pk) == kept
    assert KeptApart.objects.count() == 1
    assert shown() == set()
    find_duplicates(at=LATER)
    assert shown() == set(), "also when it is found again"
    assert keep_apart.end(kept, at=LATER, by_id=by.pk)
    assert not keep_apart.end(kept, at=LATER, by_id=by.pk)
    assert shown() == {(one.pk, other.pk)}
    again = keep_apart.keep_apart(one, other, at=LATER, by_id=by.pk)
    assert again != kept
    assert shown() == set()


def test_a_merged_record_is_not_kept_apart() -> None:
    one, other, third = anneliese(), anneliese(), a_patient()
    by = a_member("dietitian")
    merge(one, other, reason="one", at=LATER, by_id=by.pk)
    for pair in ((other, third), (third, other), (one, other)):
        with pytest.raises(MergedMeanwhile) as refused:
            keep_apart.keep_apart(*pair, at=LATER, by_id=by.pk)
        assert refused.value.speaker == one
    assert not KeptApart.objects.exists()


def test_one_record_that_cannot_be_compared_stops_no_other(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    broken = a_patient(given_names="Canaria", family_names="Finchley")
    one, other = anneliese(), anneliese()

    def fails(patient: Patient) -> object:
        if patient.pk == broken.pk:
            raise ValueError(patient.full_name)
        return likely_same(patient)

    monkeypatch.setattr(duplicates, "likely_same", fails)
    with caplog.at_level(logging.ERROR):
        assert compared() == {(one.pk, other.pk)}
    assert list(waiting()) == [broken], "it keeps its mark"
    assert f"Patient {broken.pk}" in caplog.text
    assert "Canaria" not in caplog.records[0].getMessage()  # promise T3


def test_a_long_run_ends_in_between_and_the_next_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    for _ in range(4):
        anneliese()
    monkeypatch.setattr(duplicates, "ENOUGH", -1.0)
    runs = 0
    while not compare_waiting(at=LATER):
        runs += 1
        assert runs < 5
    assert not waiting().exists()
    assert len(shown()) == 6, "each of the four with each other"


def test_the_task_may_run_any_number_of_times() -> None:
    """Promise B3: run 1 to 5 times it ends in the same state."""
    one, other = anneliese(), anneliese()
    for _ in range(5):
        task()
        assert shown() == {(one.pk, other.pk)}


def test_the_database_knows_one_order_of_a_pair() -> None:
    one, other = anneliese(), anneliese()
    with pytest.raises(IntegrityError), transaction.atomic():
        LikelyDuplicate.objects.create(one=other, other=one, weight=1, recorded_at=AT)
    LikelyDuplicate.objects.create(one=one, other=other, weight=1, recorded_at=AT)
    with pytest.raises(IntegrityError), transaction.atomic():
        LikelyDuplicate.objects.create(one=one, other=other, weight=2, recorded_at=AT)


@pytest.mark.django_db(transaction=True)
def test_two_compared_at_once_do_not_take_each_others_pair_away(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The one was held against the register before the other was corrected to be like it."""
    one, other = anneliese(), anneliese("Ogletree", given="Thaddeus")

    def correct_and_compare() -> None:
        correct(other, at=LATER, source="call", given_names="Anneliese", family_names="Falkenrath")
        find_duplicates([other.pk], at=LATER)

    beside = Beside(monkeypatch, duplicates, "_likely_pairs", correct_and_compare)
    find_duplicates([one.pk], at=LATER)
    beside.end()
    assert shown() == {(one.pk, other.pk)}
