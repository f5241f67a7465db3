"""Who is found by a search text: by every name, date of birth and MRN of theirs, in any order."""

from datetime import date
from itertools import permutations

import pytest

from patients import other_names
from patients.clock import now
from patients.match_keys import rebuild
from patients.merge import merge, undo_merge
from patients.models import Patient, SearchWord
from patients.register import correct
from patients.rules.identity import NameKind
from patients.search_words import found_by
from tests.factories import a_member, a_patient

pytestmark = pytest.mark.django_db


@pytest.fixture
def ada() -> Patient:
    """Among others: a namesake, somebody born on the same day, and a neighbouring MRN."""
    a_patient(given_names="Ada", family_names="Okafor", birth_date=date(1971, 1, 9), mrn="LF-00999")
    a_patient(birth_date=date(1980, 5, 3), mrn="LF-00777")
    a_patient(mrn="LF-00124")
    return a_patient(
        given_names="Ada Ruth",
        family_names="Okafor-Lindqvist",
        birth_date=date(1980, 5, 3),
        mrn="LF-00123",
    )


def found(text: str) -> list[Patient]:
    return list(found_by(text).order_by("pk"))


@pytest.mark.parametrize("text", [" ".join(p) for p in permutations(
    ["okafor", "3 may 1980", "MRN 00123"]
)])  # fmt: skip
def test_in_any_order(ada: Patient, text: str) -> None:
    assert found(text) == [ada]


@pytest.mark.parametrize(
    "text",
    ["okafor 1980-05-03", "okaf 3 May 1980", "ruth lindq", "lf-00123", "LF-0012 ada", "00123",
     "LF00123", "okaforlindqvist", "lf-00123 ada ruth okafor-lindqvist 1980-05-03"],
)  # fmt: skip
def test_in_any_combination_and_by_the_beginnings_of_words(ada: Patient, text: str) -> None:
    assert found(text) == [ada]


@pytest.mark.parametrize(
    "text", ["okafor 4 may 1980", "okafor 00124", "kafor", "ada 1971-01-09 lindqvist", "", "-"]
)
def test_everything_that_was_said_has_to_fit(ada: Patient, text: str) -> None:
    assert found(text) == []


def test_by_former_and_preferred_names_until_they_are_ended(ada: Patient) -> None:
    by = a_member("dietitian").pk
    name = other_names.add(
        ada, kind=NameKind.FORMER, given_names="Ada", family_names="Brightwater", at=now(),
        by_id=by, source="told us",
    )  # fmt: skip
    assert found("brightw") == found("okafor brightwater 1980-05-03") == [ada]
    other_names.end(name, reason="a slip", at=now(), by_id=by)
    assert found("brightw") == []


def test_a_correction_changes_by_what_somebody_is_found(ada: Patient) -> None:
    correct(ada, at=now(), source="x", mrn="QX-5", birth_date=date(1980, 5, 30))
    assert found("qx-5") == found("okafor 30 may 1980") == [ada]
    assert found("00123") == found("lindqvist 3 may 1980") == []


def test_a_merged_record_is_found_by_the_one_that_speaks_for_it(ada: Patient) -> None:
    kept, by = a_patient(mrn="ZZ-1"), a_member("administrator").pk
    merged = merge(kept, ada, reason="one", at=now(), by_id=by)
    assert found("lf-00123") == found("lindqvist zz-1") == [kept]
    undo_merge(merged, reason="two", at=now(), by_id=by)
    assert found("lf-00123") == [ada]


def test_rebuilding_mends_the_words_and_says_whose_had_drifted(ada: Patient) -> None:
    SearchWord.objects.filter(word="okafor").delete()
    SearchWord.objects.create(patient=ada, word="nonsense")
    drift = rebuild()
    assert ada.pk in drift.missing
    assert drift.leftover == {ada.pk}
    assert found("okafor 00123") == [ada]
    assert found("nonsense") == []
    assert not rebuild()
