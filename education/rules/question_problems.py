"""What is wrong with a question, so that it could not be asked or scored?

The file of a module and the staff's editor ask here, so that one cannot publish what the other
refuses. A problem names the field that it is about, for the editor to show it there.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from itertools import combinations

from education.rules.module_parts import OptionText, QuestionText, Words
from education.rules.scoring import CHOICES, Kind
from education.rules.units import units_named

FEWEST_OPTIONS = 2
FEWEST_TO_ARRANGE = 3  # two things in an order that is never shown solved would give it away
MOST_OPTIONS = 10  # more do not fit a phone
MOST_VERSIONS = 5
LARGEST_NUMBER = Decimal("999999999.999")  # what the record can hold

Fault = tuple[str, str]
"""The field it is about, and one plain sentence without a subject: "no option is right." """


@dataclass(frozen=True)
class QuestionProblem:
    """`version` counts from 1, the question as first written; `field` is a field of its text."""

    version: int
    field: str
    message: str


def question_problems(question: QuestionText) -> list[QuestionProblem]:
    """Return everything that is wrong with a question and its versions."""
    found = [
        QuestionProblem(number, field, message)
        for number, version in enumerate(question.every_version, start=1)
        for field, message in _faults(version)
    ]
    for number, version in enumerate(question.versions, start=2):
        found += [QuestionProblem(number, *fault) for fault in _contradictions(question, version)]
    for (one, first), (two, second) in combinations(enumerate(question.every_version, start=1), 2):
        if _asks_the_same(first, second):
            said = f"versions {one} and {two} ask the same; a retake would be the same quiz."
            found.append(QuestionProblem(two, "stem", said))
    if len(question.every_version) > MOST_VERSIONS:
        said = f"there are {len(question.every_version)} versions; at most {MOST_VERSIONS} fit."
        found.append(QuestionProblem(1, "versions", said))
    return found


def _faults(question: QuestionText) -> Iterator[Fault]:
    yield from _BY_KIND[question.kind](question)
    if question.shuffle and question.kind not in {Kind.ONE, Kind.SEVERAL}:
        yield "shuffle", f'kind "{question.kind}" takes no "shuffle".'


def _contradictions(question: QuestionText, version: QuestionText) -> Iterator[Fault]:
    if version.kind != question.kind:
        yield (
            "kind",
            f'is of kind "{version.kind}" and the question of kind "{question.kind}"; '
            "all versions are of one kind.",
        )
    if version.safety_critical != question.safety_critical:
        yield (
            "safety_critical",
            "has another safety-critical mark than the question; all versions have one mark.",
        )


def _choice(question: QuestionText) -> Iterator[Fault]:
    options, kind = question.options, question.kind
    right = sum(option.right for option in options)
    if options and not right:
        yield "options", "no option is right."
    if kind is not Kind.SEVERAL and right > 1:
        yield "options", f'{right} options are right; kind "{kind}" takes one.'
    if kind is Kind.TRUE_FALSE and sorted(option.key for option in options) != ["false", "true"]:
        yield (
            "options",
            'kind "true_false" takes two options, with the keys "true" and "false".',
        )
    elif 0 < len(options) < FEWEST_OPTIONS:
        yield "options", f"one option leaves nothing to choose; give at least {FEWEST_OPTIONS}."
    yield from _too_many(options)
    for one, two, language in _same(options, lambda option: option.text):
        yield "options", f'options "{one}" and "{two}" are the same in "{language}".'


def _number(question: QuestionText) -> Iterator[Fault]:
    answer, tolerance = question.answer, question.tolerance
    if tolerance is not None and tolerance < 0:
        yield "tolerance", '"tolerance" must not be negative.'
    for field, number in (("answer", answer), ("tolerance", tolerance)):
        if number is not None and not _can_be_kept(number):
            yield field, f'"{field}" must be below a thousand million, with at most 3 decimals.'
    named = {
        language: frozenset(found)
        for language, text in (question.unit or {}).items()
        if (found := units_named(text))
    }
    if len(named) > 1 and not frozenset.intersection(*named.values()):
        yield "unit", f'"unit" is another one in each language ({", ".join(named)}).'


def _order(question: QuestionText) -> Iterator[Fault]:
    items = question.options
    yield from _too_few_to_arrange(items, "items")
    yield from _too_many(items)
    places = [item.place for item in items]
    for place in sorted({p for p in places if p is not None and places.count(p) > 1}):
        tied = " and ".join(f'"{item.key}"' for item in items if item.place == place)
        yield "options", f"items {tied} have the same place {place}; an order has no ties."
    if len(set(places)) == len(places) and set(places) != set(range(1, len(places) + 1)):
        yield "options", f"the places must be the numbers from 1 to {len(places)}."
    for one, two, language in _same(items, lambda item: item.text):
        yield (
            "options",
            f'items "{one}" and "{two}" are the same in "{language}"; nobody can tell them apart.',
        )


def _match(question: QuestionText) -> Iterator[Fault]:
    pairs = question.options
    yield from _too_few_to_arrange(pairs, "pairs")
    yield from _too_many(pairs)
    for one, two, language in _same(pairs, lambda pair: pair.text):
        yield (
            "options",
            f'pairs "{one}" and "{two}" ask the same in "{language}"; it has two answers.',
        )
    for one, two, language in _same(pairs, lambda pair: pair.match or {}):
        yield (
            "options",
            f'pairs "{one}" and "{two}" have the same match in "{language}"; it would fit both.',
        )


_BY_KIND: dict[Kind, Callable[[QuestionText], Iterator[Fault]]] = {
    **dict.fromkeys(CHOICES, _choice),
    Kind.NUMBER: _number,
    Kind.ORDER: _order,
    Kind.MATCH: _match,
}


def _too_few_to_arrange(options: tuple[OptionText, ...], what: str) -> Iterator[Fault]:
    if 0 < len(options) < FEWEST_TO_ARRANGE:
        yield "options", f"there are {len(options)} {what}; give at least {FEWEST_TO_ARRANGE}."


def _too_many(options: tuple[OptionText, ...]) -> Iterator[Fault]:
    if len(options) > MOST_OPTIONS:
        yield "options", f"there are {len(options)}; at most {MOST_OPTIONS} fit a phone."


def _same(
    options: tuple[OptionText, ...], words: Callable[[OptionText], Words]
) -> Iterator[tuple[str, str, str]]:
    """Two options whose words read the same in a language: their keys, and the language."""
    for one, two in combinations(options, 2):
        for language, text in words(one).items():
            if text.strip() and _plain(text) == _plain(words(two).get(language, "")):
                yield one.key, two.key, language
                break


def _asks_the_same(one: QuestionText, two: QuestionText) -> bool:
    def asked(question: QuestionText) -> object:
        stem = {language: _plain(text) for language, text in question.stem.items()}
        return stem, [(option.text, option.match) for option in question.options]

    return asked(one) == asked(two)


def _plain(text: str) -> str:
    """A text as a reader takes it in: capitals, blanks and the full stop make no difference."""
    return " ".join(text.casefold().split()).rstrip(" .!")


def _can_be_kept(number: Decimal) -> bool:
    return abs(number) <= LARGEST_NUMBER and number == round(number, 3)
