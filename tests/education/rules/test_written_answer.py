"""What stands on a sheet or is said on the phone, as staff type it."""

from decimal import Decimal

import pytest

from education.rules.scoring import Kind
from education.rules.typed_number import NumberProblem
from education.rules.written_answer import Problem, Written, WrittenProblem, read_written


@pytest.mark.parametrize(
    ("kind", "typed", "lines", "read"),
    [
        (Kind.ONE, "b", 3, (1,)),
        (Kind.ONE, " B. ", 3, (1,)),
        (Kind.ONE, "", 3, None),
        (Kind.ONE, " - ", 3, None),  # a dash for "left empty"
        (Kind.ONE, "d", 3, WrittenProblem.NO_SUCH_LETTER),
        (Kind.ONE, "1", 3, WrittenProblem.NO_SUCH_LETTER),
        (Kind.ONE, "ab", 3, WrittenProblem.ONE_ONLY),
        (Kind.ONE, "aa", 3, WrittenProblem.TWICE),
        (Kind.TRUE_FALSE, "a", 2, (0,)),
        (Kind.TRUE_FALSE, "t", 2, WrittenProblem.NO_SUCH_LETTER),
        (Kind.SEVERAL, "ca", 3, (0, 2)),
        (Kind.SEVERAL, "a, c", 3, (0, 2)),
        (Kind.SEVERAL, "a c a", 3, WrittenProblem.TWICE),
        (Kind.ORDER, "312", 3, (2, 0, 1)),
        (Kind.ORDER, "3 1 2", 3, (2, 0, 1)),
        (Kind.ORDER, "3,1,2", 3, (2, 0, 1)),
        (Kind.ORDER, "31", 3, WrittenProblem.NOT_EVERY_LINE),
        (Kind.ORDER, "311", 3, WrittenProblem.TWICE),
        (Kind.ORDER, "314", 3, WrittenProblem.NO_SUCH_PLACE),
        (Kind.ORDER, "abc", 3, WrittenProblem.NO_SUCH_PLACE),
        (Kind.ORDER, "10 1 2 3 4 5 6 7 8 9", 10, (9, 0, 1, 2, 3, 4, 5, 6, 7, 8)),
        (Kind.MATCH, "cab", 3, (2, 0, 1)),
        (Kind.MATCH, "c a b", 3, (2, 0, 1)),
        (Kind.MATCH, "c a a", 3, WrittenProblem.TWICE),
        (Kind.MATCH, "c a", 3, WrittenProblem.NOT_EVERY_LINE),
        (Kind.NUMBER, "64", 0, Decimal(64)),
        (Kind.NUMBER, "1,5 oz", 0, Decimal("1.5")),
        (Kind.NUMBER, "1,200", 0, NumberProblem.COULD_BE_TWO),
        (Kind.NUMBER, "two", 0, NumberProblem.NOT_A_NUMBER),
        (Kind.NUMBER, "", 0, None),
        (Kind.SEVERAL, "a" * 41, 3, WrittenProblem.TOO_LONG),
        (Kind.ONE, "a\x00", 3, WrittenProblem.NO_SUCH_LETTER),
    ],
)
def test_what_was_typed(kind: Kind, typed: str, lines: int, read: Written | Problem) -> None:
    assert read_written(kind, typed, lines=lines, units=("US fl oz",)) == read
