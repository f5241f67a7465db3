"""What a patient answers on the page of one question, and what is said of an answer that is none.

A choice and a number are one field, `answer`. To put in order or to match has a field for each line
that is shown, `answer-1`, `answer-2` and so on, by its place on this attempt's page: the address of
a record would give the right order away. What was chosen is kept when something is missing.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace

from django.http import QueryDict
from django.utils.translation import gettext as _

from education.answers_in_words import plain_number
from education.rules.scoring import Given
from education.rules.typed_number import NumberProblem, read_number
from education.shown import ShownOption, ShownQuestion

LONGEST_ECHO = 60  # characters of a refused number that are shown again


class ForeignOption(Exception):
    """An option was sent that the question does not have."""


@dataclass(frozen=True)
class Line:
    """One line to be placed or matched: `chosen` is the value that was chosen, "" for none."""

    field: str
    text: str
    chosen: str = ""
    error: str = ""


@dataclass(frozen=True)
class Answering:
    """The fields of a question's page as they are to be shown."""

    chosen: frozenset[int] = frozenset()
    typed: str = ""
    lines: tuple[Line, ...] = ()
    choices: tuple[tuple[str, str], ...] = ()
    error: str = ""

    @property
    def errors(self) -> list[tuple[str, str]]:
        """The fields with something wrong, in the order of the page, each with its message."""
        of_lines = [(line.field, line.error) for line in self.lines if line.error]
        return of_lines or ([("answer", self.error)] if self.error else [])


def answering(question: ShownQuestion, given: Given | None) -> Answering:
    """Return the fields with the answer that was saved, or with none."""
    given = given or Given()
    if question.is_number:
        return Answering(typed="" if given.number is None else plain_number(given.number))
    if question.is_order:
        place = {item: str(number) for number, item in enumerate(given.order, start=1)}
        return _arranging(question, [place.get(item.id, "") for item in question.options])
    if question.is_match:
        value = {match.id: str(number) for number, match in enumerate(question.matches, start=1)}
        chosen = {asked: value[match] for asked, match in given.pairs}
        return _arranging(question, [chosen.get(asked.id, "") for asked in question.options])
    return Answering(chosen=given.options)


def half_answering(question: ShownQuestion, sent: QueryDict) -> Answering:
    """Return the fields with what was chosen or typed so far, and say nothing about it."""
    try:
        read = read_answer(question, sent)
    except ForeignOption:
        return answering(question, None)
    if not isinstance(read, Answering):
        return answering(question, read)
    return replace(read, error="", lines=tuple(replace(one, error="") for one in read.lines))


def read_answer(question: ShownQuestion, sent: QueryDict) -> Given | Answering:
    """Return the answer, or the fields with what was sent and what is wrong with it.

    Raises ForeignOption for what no page of ours can send.
    """
    if question.is_number:
        return _read_number(question, sent.get("answer", ""))
    if question.is_order or question.is_match:
        return _read_arranged(question, sent)
    return _read_choice(question, sent.getlist("answer"))


def _read_choice(question: ShownQuestion, sent: list[str]) -> Given | Answering:
    by_id = {str(option.id): option.id for option in question.options}
    if not set(sent) <= set(by_id) or (len(sent) > 1 and not question.is_several):
        raise ForeignOption
    if not sent:
        return Answering(error=_("Choose an answer."))
    return Given(options=frozenset(by_id[value] for value in sent))


def _read_number(question: ShownQuestion, typed: str) -> Given | Answering:
    read = read_number(typed, units=question.units)
    if not isinstance(read, NumberProblem):
        return Given(number=read)
    messages = {
        NumberProblem.EMPTY: _("Type a number."),
        NumberProblem.TOO_LONG: _("This is too long. Type a number, such as 12."),
        NumberProblem.NOT_A_NUMBER: _("Type the number in digits, such as 12 or 7.5."),
        NumberProblem.OTHER_UNIT: _("Type the number in this unit: %(unit)s."),
        NumberProblem.COULD_BE_TWO: _(
            "This could mean two numbers. For a thousand, type 1000. For one, type 1."
        ),
    }
    return Answering(typed=typed[:LONGEST_ECHO], error=messages[read] % {"unit": question.unit})


def _read_arranged(question: ShownQuestion, sent: QueryDict) -> Given | Answering:
    chosen = [sent.get(name, "") for name in _names(question.options)]
    known = {str(number) for number in range(1, len(question.options) + 1)}
    if not set(chosen) <= known | {""}:
        raise ForeignOption
    if "" in chosen or len(set(chosen)) < len(chosen):
        return _arranging(question, chosen, tell=True)
    if question.is_order:
        placed = sorted(zip(chosen, question.options, strict=True), key=lambda one: int(one[0]))
        return Given(order=tuple(item.id for _place, item in placed))
    return Given(
        pairs=frozenset(
            (asked.id, question.matches[int(value) - 1].id)
            for asked, value in zip(question.options, chosen, strict=True)
        )
    )


def _arranging(question: ShownQuestion, chosen: list[str], *, tell: bool = False) -> Answering:
    """Return a field for each line; `tell` says what is missing or was chosen twice."""
    times = Counter(chosen)
    names = _names(question.options)
    lines = tuple(
        Line(
            name,
            option.text,
            value,
            _what_is_wrong(question, option, value, times[value]) if tell else "",
        )
        for name, option, value in zip(names, question.options, chosen, strict=True)
    )
    listed = question.matches or question.options
    choices = tuple((str(n), match.match) for n, match in enumerate(listed, start=1))
    return Answering(lines=lines, choices=choices)


def _what_is_wrong(question: ShownQuestion, option: ShownOption, value: str, times: int) -> str:
    told = {"line": option.text, "place": value}
    if not value and question.is_order:
        return _("Choose a place for: %(line)s") % told
    if not value:
        return _("Choose what goes with: %(line)s") % told
    if times > 1 and question.is_order:
        return _("Place %(place)s is taken twice. Choose another place for: %(line)s") % told
    if times > 1:
        return _("You chose this twice. Each one fits just one line: %(line)s") % told
    return ""


def _names(options: Iterable[ShownOption]) -> list[str]:
    return [f"answer-{number}" for number, _option in enumerate(options, start=1)]
