"""A question as it stands on paper or is read aloud, and what staff type for its answer."""

from dataclasses import dataclass
from decimal import Decimal

from education.answers_in_words import plain_number
from education.rules.scoring import Given, Kind
from education.rules.written_answer import Problem, Written, letter, read_written
from education.shown import ShownQuestion


@dataclass(frozen=True)
class Lettered:
    """One option with its letter, or one line to be answered (no letter)."""

    letter: str
    text: str


def options_of(question: ShownQuestion) -> list[Lettered]:
    """Return what has letters: the options, or what belongs to the lines of pairs."""
    if question.is_match:
        texts = [match.match for match in question.matches]
    elif question.is_number or question.is_order:
        texts = []
    else:
        texts = [option.text for option in question.options]
    return [Lettered(letter(place), text) for place, text in enumerate(texts)]


def lines_of(question: ShownQuestion) -> list[str]:
    """Return the lines that each get a number (an order) or a letter (pairs)."""
    return [o.text for o in question.options] if question.is_order or question.is_match else []


def read_answer(question: ShownQuestion, typed: str) -> Given | Problem | None:
    """Return the answer that was typed, None for a blank one, or what is wrong with it."""
    kind = Kind(question.record.kind)
    read = read_written(kind, typed, lines=len(question.options), units=question.units)
    if read is None or isinstance(read, (Decimal, tuple)):
        return _given(question, read)
    return read


def as_typed(question: ShownQuestion, given: Given | None) -> str:
    """Return a saved answer as staff would type it."""
    if given is None:
        return ""
    if given.number is not None:
        return plain_number(given.number)
    shown = [option.id for option in question.options]
    if question.is_order:
        return " ".join(str(given.order.index(item) + 1) for item in shown)
    if question.is_match:
        offered = [match.id for match in question.matches]
        chosen = dict(given.pairs)
        return " ".join(letter(offered.index(chosen[asked])) for asked in shown)
    return " ".join(letter(n) for n, option in enumerate(shown) if option in given.options)


def _given(question: ShownQuestion, read: Written) -> Given | None:
    if read is None:
        return None
    if isinstance(read, Decimal):
        return Given(number=read)
    shown = [option.id for option in question.options]
    if question.is_order:
        return Given(order=tuple(item for _, item in sorted(zip(read, shown, strict=True))))
    if question.is_match:
        offered = [question.matches[place].id for place in read]
        return Given(pairs=frozenset(zip(shown, offered, strict=True)))
    return Given(options=frozenset(shown[place] for place in read))
