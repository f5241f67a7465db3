"""Two whole names side by side; and that one name beside many says of each what it says alone."""

from unittest.mock import patch

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from patients.rules import names_beside
from patients.rules.name_likeness import Alike
from patients.rules.names import NormalName, normal_name
from patients.rules.names_beside import Beside, NameLikeness, comparisons
from tests.patients.rules.test_name_likeness import FAMILY, GIVEN

TEXTS = sorted(
    {text for one, other, *_ in [*GIVEN, *FAMILY] for text in (one, other)}
    | {"abab", "babab", "j", "ja", "j luz", "bill luz", "stefan", "xi", "ma li"}
)
WORDS = "ana annabel anabel bill cruz de j katherine kate la li lind michael michelle ortega ruiz"
MORE = "rosa stefan stephen william abab babab nakamura nakamuro 小明 小红"
WORD = st.one_of(st.sampled_from((WORDS + " " + MORE).split()), st.text("abeil", max_size=7))
PART = st.lists(st.tuples(WORD, st.sampled_from(" -")), max_size=3).map(
    lambda pairs: "".join(word + parted for word, parted in pairs)
)
NAME = st.builds(normal_name, PART, PART)


def test_a_name_in_the_other_order() -> None:
    typed, recorded = normal_name("Nakamuro", "Tess"), normal_name("Tess", "Nakamura")
    assert comparisons(typed, recorded)[-1] == NameLikeness(Alike.EQUAL, Alike.ONE_EDIT, moved=True)
    typed = normal_name("Tess Nakamura", "")
    assert comparisons(typed, recorded) == (NameLikeness(Alike.EQUAL, Alike.EQUAL, moved=True),)


@given(NAME)
@example(NormalName("duong", "dung"))  # each a letter from the other
def test_exchanged_fields_are_the_same_name(name: NormalName) -> None:
    found = comparisons(NormalName(name.family, name.given), name)
    equal = [ways for ways in found if ways.given == ways.family == Alike.EQUAL]
    assert equal or not (name.given and name.family)


@given(NAME, st.lists(NAME, max_size=12))
def test_looked_over_together_is_as_one_by_one(name: NormalName, others: list[NormalName]) -> None:
    beside = Beside(name)
    with patch.object(names_beside, "WORTH_A_LOOK", 1):
        beside.look_over(others)
    assert [beside.comparisons(other) for other in others] == [
        comparisons(name, other) for other in others
    ]


@pytest.mark.parametrize("text", TEXTS)
def test_looked_over_together_every_kind_of_likeness_is_found(text: str) -> None:
    name, others = NormalName(text, text), [NormalName(other, other) for other in TEXTS]
    beside = Beside(name)
    with patch.object(names_beside, "WORTH_A_LOOK", 1):
        beside.look_over(others)
    for other in others:
        assert beside.comparisons(other) == comparisons(name, other)


def test_most_of_many_names_need_no_comparison_of_their_own() -> None:
    others = [normal_name(f"Quinn{letter}", f"Zovic{letter}") for letter in "abcdefghijklmnopqrst"]
    beside = Beside(normal_name("Tess", "Nakamura"))
    beside.look_over(others)
    with patch.object(names_beside._Alike, "__missing__", side_effect=AssertionError):
        found = {beside.comparisons(other) for other in others}
    assert found == {(NameLikeness(Alike.DIFFERENT, Alike.DIFFERENT),)}
