"""An answer as people read it, line by line: on the patient's pages and on the staff's."""

from decimal import Decimal

from education.drawn import answer_key
from education.models import Option, Question
from education.rules.module_parts import in_language
from education.rules.scoring import Given, Kind


def in_words(question: Question, given: Given | None, language: str) -> tuple[str, ...]:
    """Return options chosen, a number with its unit, items in their order, or pairs; () for none.

    A text that the edition does not have in `language` is told in its source language.
    """
    if given is None:
        return ()
    if given.number is not None:
        unit = in_language(question.unit, language)
        return (f"{plain_number(given.number)} {unit}".strip(),)
    options = {option.pk: option for option in question.options.all()}
    if given.order:
        placed = (in_language(options[item].text, language) for item in given.order)
        return tuple(f"{place}. {text}" for place, text in enumerate(placed, start=1))
    if given.pairs:
        pairs = [(options[a].text, options[b].match) for a, b in in_order_of(question, given)]
        return tuple(
            f"{in_language(asked, language)}: {in_language(chosen, language)}"
            for asked, chosen in pairs
        )
    return tuple(in_language(o.text, language) for o in options.values() if o.pk in given.options)


def right_answer(question: Question) -> Given:
    """Return the answer that is right."""
    key = answer_key(question)
    if key.kind == Kind.NUMBER:
        return Given(number=key.number)
    return Given(options=key.right_options, order=key.order, pairs=key.pairs)


def in_order_of(question: Question, given: Given) -> list[tuple[int, int]]:
    """Return the pairs that were matched, in the order in which the question lists them."""
    chosen = dict(given.pairs)
    listed: list[Option] = list(question.options.all())
    return [(option.pk, chosen[option.pk]) for option in listed if option.pk in chosen]


def plain_number(number: Decimal) -> str:
    """Return a number without trailing zeros: 4.000 is 4, and 100 stays 100."""
    return f"{number.normalize():f}"
