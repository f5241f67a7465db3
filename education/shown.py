"""What an edition says in one language, and answers in words, ready for a page."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from django.utils.safestring import SafeString

from education.markdown import to_html
from education.models import Edition, Option, Question
from education.rules.scoring import Given, Kind


@dataclass(frozen=True)
class ShownSection:
    """One section of the teaching; `key` is its anchor on the page."""

    key: str
    heading: str
    body: SafeString


@dataclass(frozen=True)
class ShownOption:
    id: int
    text: str
    right: bool


@dataclass(frozen=True)
class ShownQuestion:
    """One question with its place in the quiz: question `number` of `total`."""

    record: Question
    number: int
    total: int
    stem: str
    explanation: str
    unit: str
    section: str
    options: tuple[ShownOption, ...]

    @property
    def is_number(self) -> bool:
        return self.record.kind == Kind.NUMBER

    @property
    def is_several(self) -> bool:
        return self.record.kind == Kind.SEVERAL

    @property
    def units(self) -> tuple[str, ...]:
        """The unit's names in every language that the edition has."""
        return tuple(self.record.unit.values())

    def in_words(self, given: Given | None) -> tuple[str, ...]:
        """Return an answer as the options chosen, or as a number with its unit; () for none."""
        if given is None:
            return ()
        if given.number is not None:
            return (self._amount(given.number),)
        return tuple(option.text for option in self.options if option.id in given.options)

    def right_in_words(self) -> tuple[str, ...]:
        """Return the right answer."""
        if self.record.number is not None:
            return (self._amount(self.record.number),)
        return tuple(option.text for option in self.options if option.right)

    def _amount(self, number: Decimal) -> str:
        return f"{plain_number(number)} {self.unit}".strip()


def sections(edition: Edition, language: str) -> list[ShownSection]:
    """Return the teaching of an edition."""
    return [
        ShownSection(part.key, part.heading[language], to_html(part.body[language]))
        for part in edition.sections.all()
    ]


def questions(edition: Edition, language: str) -> list[ShownQuestion]:
    """Return the questions of an edition, in quiz order."""
    records = list(edition.questions.select_related("section").prefetch_related("options"))
    return [
        ShownQuestion(
            record=record,
            number=number,
            total=len(records),
            stem=record.stem[language],
            explanation=record.explanation[language],
            unit=record.unit.get(language, ""),
            section=record.section.key,
            options=_options(record.options.all(), language),
        )
        for number, record in enumerate(records, start=1)
    ]


def next_unanswered(
    asked: Iterable[ShownQuestion], given: Mapping[int, Given], *, after: int = 0
) -> ShownQuestion | None:
    """Return the first question without an answer behind number `after`, else before it."""
    open_ones = [q for q in asked if q.record.pk not in given]
    behind = [q for q in open_ones if q.number > after]
    return next(iter(behind or open_ones), None)


def plain_number(number: Decimal) -> str:
    """Return a number without trailing zeros: 4.000 is 4, and 100 stays 100."""
    return f"{number.normalize():f}"


def _options(records: Iterable[Option], language: str) -> tuple[ShownOption, ...]:
    return tuple(ShownOption(o.pk, o.text[language], o.right) for o in records)
