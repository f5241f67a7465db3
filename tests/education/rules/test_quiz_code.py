"""The check character against published values, and what is said of a code that was typed."""

import random
import string

import pytest

from education.rules.quiz_code import (
    ALPHABET,
    LENGTH,
    CodeProblem,
    check_character,
    make,
    read_code,
    spelled,
)

ALPHANUMERIC = string.digits + string.ascii_uppercase


@pytest.mark.parametrize(
    ("text", "alphabet", "check"),
    [
        # ISO/IEC 7064:2003, 10.1.2, the standard's own example of a hybrid system (MOD 11,10).
        ("0794", string.digits, "5"),
        # The same system as the tests of several open implementations have it.
        ("079", string.digits, "2"),
        # GRid Standard 2.1 (IFPI), its example A1-2425G-ABC1234002-M (MOD 37,36).
        ("A12425GABC1234002", ALPHANUMERIC, "M"),
        # ISO/TC 46/SC 9/WG 1 N130, as open implementations cite it: a size of alphabet that the
        # standard itself does not name (MOD 17,16).
        ("D98989898909898", "0123456789ABCDEF", "B"),
    ],
)
def test_published_check_characters(text: str, alphabet: str, check: str) -> None:
    assert check_character(text, alphabet=alphabet) == check


def test_no_single_wrong_character_passes() -> None:
    """ISO/IEC 7064 promises it of every hybrid system; here of each place and each character."""
    code = make(random.Random(7).choice)
    for place in range(LENGTH):
        for other in set(ALPHABET) - {code[place]}:
            assert read_code(code[:place] + other + code[place + 1 :]) == CodeProblem.MISTYPED


def test_two_neighbours_exchanged_are_nearly_always_seen() -> None:
    missed = sum(
        check_character(f"X{a}{b}KM") == check_character(f"X{b}{a}KM")
        for a in ALPHABET
        for b in ALPHABET
        if a < b
    )
    assert missed <= 2  # of 378


def test_the_alphabet_makes_no_words_and_has_no_two_that_look_alike() -> None:
    assert not set(ALPHABET) & set("AEIOU01L")
    assert len(set(ALPHABET)) == 28


GOOD = "7KMPX2D" + check_character("7KMPX2D")


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        (GOOD, GOOD),
        (spelled(GOOD).lower(), GOOD),  # as it is printed, in small letters
        (f"  {GOOD[:4]} \u2013 {GOOD[4:]}\t", GOOD),
        ("", CodeProblem.EMPTY),
        ("- -", CodeProblem.EMPTY),
        (GOOD[:-1], CodeProblem.NOT_THE_LENGTH),
        (GOOD + "2", CodeProblem.NOT_THE_LENGTH),
        ("7" * 100_000, CodeProblem.NOT_THE_LENGTH),
        ("0" + GOOD[1:], CodeProblem.NOT_OF_A_CODE),
        ("７" + GOOD[1:], CodeProblem.NOT_OF_A_CODE),  # a full-width 7
        ("\x00" + GOOD, CodeProblem.NOT_OF_A_CODE),
        (GOOD[1] + GOOD[0] + GOOD[2:], CodeProblem.MISTYPED),
    ],
)
def test_what_was_typed(typed: str, read: str) -> None:
    assert read_code(typed) == read
