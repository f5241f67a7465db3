"""How alike two names are, row by row, and that it is the same from either side."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patients.rules.name_likeness import (
    Alike,
    compare_family,
    compare_given,
    phonetic,
)
from patients.rules.names import normal_name

GIVEN = [
    ("ana", "ana", Alike.EQUAL, ""),
    ("anne-marie", "annemarie", Alike.EQUAL, "with a hyphen or written together"),
    ("ana", "ana luz", Alike.MIDDLE_NAME, ""),
    ("ana luz", "ana luz mar", Alike.MIDDLE_NAME, "a second one"),
    ("ana luz", "ana mar", Alike.SHARED, "each has another"),
    ("ana luz mar", "ana mar", Alike.MIDDLE_NAME, "the second of three left out"),
    ("ana luz mar", "ana mar luz", Alike.SHARED, "in another order"),
    ("jia", "jia-hua", Alike.SHARED, "a hyphen makes one name of two"),
    ("luz", "ana luz", Alike.SHARED, "the middle name alone"),
    ("tess", "tessa", Alike.ONE_EDIT, "one more"),
    ("tess ana", "tessa bo", Alike.CLOSE, "both first names must be long enough"),
    ("martha", "marhta", Alike.ONE_EDIT, "two exchanged"),
    ("ana", "ena", Alike.ONE_EDIT, "one other, however short"),
    ("william", "bill", Alike.SHORT_FORM, ""),
    ("katherine luz", "kate", Alike.SHORT_FORM, "beside a middle name"),
    ("j", "jonas", Alike.INITIAL, ""),
    ("stephen", "stefan", Alike.PHONETIC, ""),
    ("michelle", "michael", Alike.PHONETIC, ""),
    ("christabel", "christoval", Alike.CLOSE, ""),
    ("", "ana", Alike.MISSING, ""),
    ("", "", Alike.BOTH_MISSING, ""),
    ("quinn", "ana", Alike.DIFFERENT, ""),
    ("小明", "小红", Alike.ONE_EDIT, "one character of two"),
    ("小明", "ana", Alike.DIFFERENT, "another script"),
]
FAMILY = [
    ("de la cruz", "delacruz", Alike.EQUAL, "written together"),
    ("ruiz", "ruiz-ortega", Alike.PART, ""),
    ("de la cruz", "cruz", Alike.PART, "without its particles"),
    ("ortega-ruiz", "ruiz-ortega", Alike.SHARED, "both, the other way round: another name"),
    ("van der falke", "falke van der", Alike.PART, "particles behind the name"),
    ("de la cruz", "de la rosa", Alike.DIFFERENT, "particles are no likeness"),
    ("santa cruz", "de la cruz", Alike.SHARED, "neither is a part of the other"),
    ("ruiz-ortega", "ruiz-lind", Alike.SHARED, ""),
    ("nakamura", "nakamuro", Alike.ONE_EDIT, ""),
    ("gutierrez", "gutieres", Alike.PHONETIC, ""),
    ("ruiz", "lind", Alike.DIFFERENT, ""),
    ("", "ruiz", Alike.MISSING, ""),
]


@pytest.mark.parametrize("one, other, alike, why", GIVEN)
def test_given_names(one: str, other: str, alike: Alike, why: str) -> None:
    assert compare_given(one, other) == compare_given(other, one) == alike


@pytest.mark.parametrize("one, other, alike, why", FAMILY)
def test_family_names(one: str, other: str, alike: Alike, why: str) -> None:
    assert compare_family(one, other) == compare_family(other, one) == alike


def test_ashcraft_and_ashcroft_sound_alike() -> None:
    assert phonetic("ashcraft") == phonetic("ashcroft")


PARTS = st.text("abeil -", max_size=9).map(lambda text: normal_name(text, "").given)


@given(PARTS, PARTS)
def test_comparing_is_the_same_from_either_side(one: str, other: str) -> None:
    assert compare_given(one, other) == compare_given(other, one)
    assert compare_family(one, other) == compare_family(other, one)
    assert compare_given(one, one) in (Alike.EQUAL, Alike.BOTH_MISSING)
