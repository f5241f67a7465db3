"""What does a sheet of paper, or a voice on the phone, say to one question?

Staff type it as it stands there: the letter of an option, letters for several, a number for each
line of an order, a letter for each line of pairs, or the number that was asked for. Blanks, commas
and case do not matter. What is no answer is said, never mended.
"""

from collections.abc import Sequence
from decimal import Decimal
from enum import StrEnum
from string import ascii_lowercase

from education.rules.scoring import Kind
from education.rules.typed_number import NumberProblem, read_number

LONGEST = 40  # characters
PARTING = " \t,;.-/)("  # alone they are a blank answer: "-"


class WrittenProblem(StrEnum):
    TOO_LONG = "too_long"
    NO_SUCH_LETTER = "no_such_letter"
    ONE_ONLY = "one_only"
    NO_SUCH_PLACE = "no_such_place"
    TWICE = "twice"
    NOT_EVERY_LINE = "not_every_line"


Problem = WrittenProblem | NumberProblem
Written = tuple[int, ...] | Decimal | None
"""Places from 0: of the options chosen; of each line's place or match; a number; None: blank."""


def letter(place: int) -> str:
    """Return the letter of an option, a for place 0; a question has at most 26."""
    return ascii_lowercase[place]


def read_written(
    kind: Kind, typed: str, *, lines: int, units: Sequence[str] = ()
) -> Written | Problem:
    """Return what was answered. `lines`: how many options, items or pairs the question shows."""
    if len(typed) > LONGEST:
        return WrittenProblem.TOO_LONG
    if not typed.strip(PARTING):
        return None
    if kind == Kind.NUMBER:
        return read_number(typed, units=units)
    if kind == Kind.ORDER:
        return _one_each(_numbers(typed, lines), lines, WrittenProblem.NO_SUCH_PLACE)
    marks = _letters(typed, lines)
    if kind == Kind.MATCH:
        return _one_each(marks, lines, WrittenProblem.NO_SUCH_LETTER)
    if marks is None:
        return WrittenProblem.NO_SUCH_LETTER
    if len(set(marks)) < len(marks):
        return WrittenProblem.TWICE
    if kind != Kind.SEVERAL and len(marks) > 1:
        return WrittenProblem.ONE_ONLY
    return tuple(sorted(marks))


def _letters(typed: str, lines: int) -> tuple[int, ...] | None:
    """Return the places of letters, None if one is no letter of the question's."""
    known = ascii_lowercase[:lines]
    marks = [mark for mark in typed.lower() if mark not in PARTING]
    return tuple(known.index(mark) for mark in marks) if set(marks) <= set(known) else None


def _numbers(typed: str, lines: int) -> tuple[int, ...] | None:
    """Return places from 0 of numbers from 1, parted or, below ten, written together."""
    for mark in PARTING:
        typed = typed.replace(mark, " ")
    words = typed.split()
    if len(words) == 1 and lines < 10:
        words = list(words[0])
    known = {str(place): place - 1 for place in range(1, lines + 1)}
    return tuple(known[word] for word in words) if set(words) <= set(known) else None


def _one_each(
    marks: tuple[int, ...] | None, lines: int, unknown: WrittenProblem
) -> tuple[int, ...] | WrittenProblem:
    if marks is None:
        return unknown
    if len(set(marks)) < len(marks):
        return WrittenProblem.TWICE
    return marks if len(marks) == lines else WrittenProblem.NOT_EVERY_LINE
