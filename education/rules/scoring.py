"""Was the quiz passed?  A question is right or wrong; no half points."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum


class Kind(StrEnum):
    ONE = "one"
    SEVERAL = "several"
    TRUE_FALSE = "true_false"
    NUMBER = "number"
    ORDER = "order"
    MATCH = "match"


CHOICES = frozenset({Kind.ONE, Kind.SEVERAL, Kind.TRUE_FALSE})
"""The kinds that are answered by choosing among options."""


@dataclass(frozen=True)
class Key:
    """What is right for one question, by its kind.

    Choices have `right_options`, option ids. A number has `number` and `tolerance`, in the
    question's unit. An order has the option ids in the `order` that is right; to match pairs has
    `pairs`, each the id of what is asked and the id of what belongs to it.
    """

    question_id: int
    kind: Kind
    safety_critical: bool = False
    right_options: frozenset[int] = frozenset()
    number: Decimal = Decimal(0)
    tolerance: Decimal = Decimal(0)
    order: tuple[int, ...] = ()
    pairs: frozenset[tuple[int, int]] = frozenset()


@dataclass(frozen=True)
class Given:
    """What the patient answered: chosen option ids, a number in the question's unit, option ids in
    an order, or pairs of option ids.
    """

    options: frozenset[int] = frozenset()
    number: Decimal | None = None
    order: tuple[int, ...] = ()
    pairs: frozenset[tuple[int, int]] = frozenset()


@dataclass(frozen=True)
class Score:
    """`right` of `total` questions; `wrong` and `unsafe` hold question ids in quiz order."""

    right: int
    total: int
    passed: bool
    wrong: tuple[int, ...]
    unsafe: tuple[int, ...]


def is_right(key: Key, given: Given | None) -> bool:
    """Return whether an answer is right; no answer is wrong, and so is half of one."""
    if given is None:
        return False
    if key.kind == Kind.NUMBER:
        return given.number is not None and abs(given.number - key.number) <= key.tolerance
    if key.kind == Kind.ORDER:
        return bool(given.order) and given.order == key.order
    if key.kind == Kind.MATCH:
        return bool(given.pairs) and given.pairs == key.pairs
    return bool(given.options) and given.options == key.right_options


def score(keys: Iterable[Key], given: Mapping[int, Given], *, pass_mark: int) -> Score:
    """Score one attempt. `pass_mark` is in whole per cent of the questions.

    Passing needs the pass mark and every safety-critical question right. An empty quiz is never
    passed. The comparison is in whole numbers: 4 of 5 reaches 80 per cent exactly.
    """
    listed = list(keys)
    wrong = tuple(k.question_id for k in listed if not is_right(k, given.get(k.question_id)))
    critical = {k.question_id for k in listed if k.safety_critical}
    unsafe = tuple(q for q in wrong if q in critical)
    right = len(listed) - len(wrong)
    enough = bool(listed) and right * 100 >= pass_mark * len(listed)
    return Score(right, len(listed), enough and not unsafe, wrong, unsafe)


@dataclass(frozen=True)
class PastAttempt:
    """One scored submission: passed or not, and the safety-critical questions it got wrong.

    `unsafe` holds stable question keys, so that the same question is known across editions.
    """

    passed: bool
    unsafe: frozenset[str] = frozenset()


def needs_teach_back(
    attempts: Iterable[PastAttempt], *, attempts_allowed: int, one_more: bool = False
) -> bool:
    """Return whether the quiz has said enough and a person must take over.

    Either every allowed attempt was failed, or one safety-critical question was wrong twice. A
    pass later ends it. `one_more`: since the last attempt a teach-back gave one more, and the quiz
    may be taken before a person has to take over again.
    """
    if one_more:
        return False
    since_pass: list[PastAttempt] = []
    for attempt in attempts:
        since_pass = [] if attempt.passed else [*since_pass, attempt]
    missed = [question for attempt in since_pass for question in attempt.unsafe]
    twice = len(missed) != len(set(missed))
    return twice or (bool(since_pass) and len(since_pass) >= attempts_allowed)
