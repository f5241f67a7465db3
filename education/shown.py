"""What an edition says in one language, and answers in words, ready for a page."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.utils.safestring import SafeString

from education.answers_in_words import in_words, right_answer
from education.drawn import asked_of, every_version
from education.markdown import to_html
from education.models import Attempt, Edition, Question
from education.rules.drawing import Draw, shuffled, shuffled_apart
from education.rules.scoring import Given, Kind
from education.shown_files import ShownVideo, kept_files, shown_pictures, shown_video


@dataclass(frozen=True)
class ShownSection:
    """One section of the teaching; `key` is its anchor on the page."""

    key: str
    heading: str
    body: SafeString
    ask_yourself: SafeString
    video: ShownVideo | None = None


@dataclass(frozen=True)
class ShownOption:
    """An option, an item, or a pair: what is asked (`text`) with what belongs to it (`match`)."""

    id: int
    text: str
    right: bool
    match: str = ""


@dataclass(frozen=True)
class ShownQuestion:
    """One question with its place in the quiz: question `number` of `total`.

    `options` stand in the order in which they are shown; `matches` are the pairs in the order in
    which what belongs to them is shown.
    """

    record: Question
    language: str
    number: int
    total: int
    stem: str
    explanation: str
    unit: str
    section: str
    options: tuple[ShownOption, ...]
    matches: tuple[ShownOption, ...] = ()

    @property
    def is_number(self) -> bool:
        return self.record.kind == Kind.NUMBER

    @property
    def is_several(self) -> bool:
        return self.record.kind == Kind.SEVERAL

    @property
    def is_order(self) -> bool:
        return self.record.kind == Kind.ORDER

    @property
    def is_match(self) -> bool:
        return self.record.kind == Kind.MATCH

    @property
    def units(self) -> tuple[str, ...]:
        """The unit's names in every language that the edition has."""
        return tuple(self.record.unit.values())

    def in_words(self, given: Given | None) -> tuple[str, ...]:
        """Return an answer line by line; () for none."""
        return in_words(self.record, given, self.language)

    def right_in_words(self) -> tuple[str, ...]:
        """Return the right answer."""
        return self.in_words(right_answer(self.record))


def sections(edition: Edition, language: str) -> list[ShownSection]:
    """Return the teaching of an edition."""
    parts = list(edition.sections.all())
    kept = kept_files((part.pictures, part.video) for part in parts)
    return [
        ShownSection(
            part.key,
            part.heading[language],
            to_html(part.body[language], shown_pictures(part.pictures, kept, language)),
            to_html(part.ask_yourself.get(language, "")),
            shown_video(part.video, kept, language),
        )
        for part in parts
    ]


def questions(attempt: Attempt, language: str) -> list[ShownQuestion]:
    """Return the questions that an attempt asks, in quiz order, as it shows them."""
    asked = asked_of(attempt)
    return [
        shown_question(record, language, number=number, total=len(asked), draw=attempt.draw)
        for number, record in enumerate(asked, start=1)
    ]


def number_of_questions(edition: Edition) -> int:
    """Return how many questions one attempt asks, whichever versions are drawn."""
    return edition.questions.values("position").distinct().count()


def as_written(edition: Edition, language: str) -> list[ShownQuestion]:
    """Return every version of every question of an edition, for those who look at all of it."""
    records = list(every_version(edition))
    total = len({record.position for record in records})
    return [
        shown_question(record, language, number=record.position, total=total) for record in records
    ]


def shown_question(
    record: Question, language: str, *, number: int, total: int, draw: Draw | None = None
) -> ShownQuestion:
    """Return one question in a language, its options in the order of a draw, else as written."""
    options = [
        ShownOption(o.pk, o.text[language], o.right, o.match.get(language, ""))
        for o in record.options.all()
    ]
    matches = options if record.kind == Kind.MATCH else []
    if draw:
        keys = {o.pk: o.key for o in record.options.all()}

        def name(option: ShownOption) -> str:
            return keys[option.id]

        if record.kind == Kind.ORDER:
            options = shuffled_apart(options, draw=draw, question=record.name, name=name)
        elif record.shuffle:
            options = shuffled(options, draw=draw, question=record.name, name=name)
        matches = shuffled_apart(matches, draw=draw, question=record.name, name=name)
    return ShownQuestion(
        record=record,
        language=language,
        number=number,
        total=total,
        stem=record.stem[language],
        explanation=record.explanation[language],
        unit=record.unit.get(language, ""),
        section=record.section.key,
        options=tuple(options),
        matches=tuple(matches),
    )


def next_unanswered(
    asked: Iterable[ShownQuestion], given: Mapping[int, Given], *, after: int = 0
) -> ShownQuestion | None:
    """Return the first question without an answer behind number `after`, else before it."""
    open_ones = [q for q in asked if q.record.pk not in given]
    behind = [q for q in open_ones if q.number > after]
    return next(iter(behind or open_ones), None)
