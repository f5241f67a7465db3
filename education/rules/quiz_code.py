"""The short code of a printed sheet, or of a shared screen: eight characters, the last a check.

The alphabet has no vowel, so that no word can come of it, and neither 0, 1, I, L nor O, which are
taken for each other. The check character is that of the hybrid systems of ISO/IEC 7064:2003,
MOD M+1,M, here MOD 29,28: no single wrong character passes, and hardly any two that were exchanged.
"""

import re
from collections.abc import Callable, Sequence
from enum import StrEnum

ALPHABET = "23456789BCDFGHJKMNPQRSTVWXYZ"
LENGTH = 8
LONGEST = 40  # characters that are looked at, blanks and dashes included


class CodeProblem(StrEnum):
    EMPTY = "empty"
    NOT_THE_LENGTH = "not_the_length"
    NOT_OF_A_CODE = "not_of_a_code"  # a character that no code has
    MISTYPED = "mistyped"  # the check character does not fit


def check_character(text: str, *, alphabet: str = ALPHABET) -> str:
    """Return the check character of a text: ISO/IEC 7064, hybrid system for the alphabet's size.

    The alphabets of the standard itself are the ten digits (MOD 11,10), 26 letters (MOD 27,26) and
    both (MOD 37,36). Raises ValueError for a character that the alphabet does not have.
    """
    size = len(alphabet)
    carried = size
    for character in text:
        summed = (carried + alphabet.index(character)) % size
        carried = (summed or size) * 2 % (size + 1)
    return alphabet[(1 - carried) % size]


def make(choose: Callable[[Sequence[str]], str]) -> str:
    """Return a new code; `choose` picks one character, each as likely as any other."""
    drawn = "".join(choose(ALPHABET) for _ in range(LENGTH - 1))
    return drawn + check_character(drawn)


def read_code(typed: str) -> str | CodeProblem:
    """Return a code as it is stored; case, blanks and dashes do not matter."""
    if len(typed) > LONGEST:
        return CodeProblem.NOT_THE_LENGTH
    code = re.sub(r"[\s\-\u2010-\u2015.]", "", typed).upper()
    if not code:
        return CodeProblem.EMPTY
    if not set(code) <= set(ALPHABET):
        return CodeProblem.NOT_OF_A_CODE
    if len(code) != LENGTH:
        return CodeProblem.NOT_THE_LENGTH
    return code if check_character(code[:-1]) == code[-1] else CodeProblem.MISTYPED


def spelled(code: str) -> str:
    """Return a code as people read it, in two groups of four."""
    return f"{code[:4]}-{code[4:]}"
