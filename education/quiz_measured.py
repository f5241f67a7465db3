"""What a quiz measures: the figures of each question, of the whole quiz, and of each section."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from education.models import Edition, Question, Section
from education.quiz_answers import PAIR, Asked, Counted, counted
from education.rules import missed
from education.rules.does_it_measure import (
    Finding,
    Offered,
    enough,
    findings,
    versions_differ,
)
from education.rules.item_statistics import Interval, Item, Tally, item
from education.rules.pass_mark import Quiz
from education.rules.reliability import feldt, kr20
from education.rules.scoring import Kind

CHOSEN = frozenset({Kind.ONE, Kind.SEVERAL, Kind.TRUE_FALSE})


@dataclass(frozen=True)
class MeasuredVersion:
    """One version of a question. `findings` are empty while too few had it."""

    question: Question
    figures: Item
    offered: tuple[Offered, ...]
    findings: tuple[Finding, ...]
    no_answer: int = 0

    @property
    def enough(self) -> bool:
        """Whether enough patients had this version to say more than how many."""
        return enough(self.figures.answered)


@dataclass(frozen=True)
class MeasuredQuestion:
    """A question, all its versions together; `findings` are those that no single version has."""

    key: str
    number: int  # its place in the quiz, from 1
    safety_critical: bool
    figures: Item
    findings: tuple[Finding, ...]
    versions: tuple[MeasuredVersion, ...]


@dataclass(frozen=True)
class MeasuredSection:
    """A section of the module, and what the missed questions say about it."""

    section: Section
    missed: missed.Section


@dataclass(frozen=True)
class Measured:
    """A quiz. `reliability` is KR-20, None when nothing can be said; its interval is Feldt's."""

    counted: Counted
    questions: tuple[MeasuredQuestion, ...]
    sections: tuple[MeasuredSection, ...]
    reliability: float | None
    reliability_within: Interval | None
    quiz: Quiz

    @property
    def enough(self) -> bool:
        """Whether there are enough quizzes to say more than counts."""
        return enough(self.counted.quizzes)


def measured(asked: Asked) -> Measured:
    """Compute everything for the quizzes that were asked for. A handful of queries."""
    edition = asked.edition
    found = counted(asked)
    listed = edition.questions.prefetch_related("options").order_by("position", "version")
    questions = tuple(
        _question(list(versions), number, found.tallies)
        for number, (_, versions) in enumerate(groupby(listed, key=lambda q: q.key), start=1)
    )
    reliability = kr20([q.figures.difficulty or 0.0 for q in questions], found.totals)
    within = None
    if reliability is not None:
        within = feldt(reliability, people=found.quizzes, items=len(questions))
    return Measured(
        counted=found,
        questions=questions,
        sections=_sections(edition, questions, found.tallies),
        reliability=reliability,
        reliability_within=within,
        quiz=Quiz(
            len(questions),
            edition.pass_mark,
            sum(question.safety_critical for question in questions),
        ),
    )


def _question(
    versions: Sequence[Question], number: int, tallies: Mapping[int, list[Tally]]
) -> MeasuredQuestion:
    first = versions[0]
    shown = tuple(_version(one, tallies.get(one.pk, [])) for one in versions)
    figures = _together(versions, tallies)
    found: list[Finding] = []
    if versions_differ({str(v.question.version): v.figures for v in shown}):
        found.append(Finding.VERSIONS_DIFFER)
    if enough(figures.answered) and not any(v.enough for v in shown):
        found += findings(figures, safety_critical=first.safety_critical)
    return MeasuredQuestion(first.key, number, first.safety_critical, figures, tuple(found), shown)


def _version(question: Question, tallies: list[Tally]) -> MeasuredVersion:
    options = list(question.options.all())
    if question.kind in CHOSEN:
        offered = tuple(Offered(str(option.pk), option.right) for option in options)
    else:
        offered = _given(question, tallies)
    figures = item(tallies, offered=[one.name for one in offered if question.kind in CHOSEN])
    found: tuple[Finding, ...] = ()
    if enough(figures.answered):
        found = findings(figures, safety_critical=question.safety_critical, offered=offered)
    no_answer = sum(tally.count for tally in tallies if not tally.choices)
    return MeasuredVersion(question, figures, offered, found, no_answer)


def _given(question: Question, tallies: list[Tally]) -> tuple[Offered, ...]:
    """What was given where nothing is offered to choose: a number, an order, each pair."""
    if question.kind == Kind.MATCH:
        pairs = {name for tally in tallies for name in tally.choices}
        return tuple(Offered(pair, len(set(pair.split(PAIR))) == 1) for pair in sorted(pairs))
    given = {name: tally.right for tally in tallies for name in tally.choices}
    return tuple(Offered(name, right) for name, right in sorted(given.items()))


def _together(versions: Sequence[Question], tallies: Mapping[int, list[Tally]]) -> Item:
    # Choices are left out: those of another version are other words.
    return item(
        Tally(tally.total, tally.right, frozenset(), tally.count)
        for version in versions
        for tally in tallies.get(version.pk, [])
    )


def _sections(
    edition: Edition, questions: Sequence[MeasuredQuestion], tallies: Mapping[int, list[Tally]]
) -> tuple[MeasuredSection, ...]:
    return tuple(
        MeasuredSection(section, missed.section(_asked(section, questions, tallies)))
        for section in edition.sections.all()
    )


def _asked(
    section: Section, questions: Sequence[MeasuredQuestion], tallies: Mapping[int, list[Tally]]
) -> list[missed.Asked]:
    found = []
    for question in questions:
        # Versions may be explained in different sections.
        here = [v for v in question.versions if v.question.section_id == section.pk]
        if here:
            figures = _together([v.question for v in here], tallies)
            said = (*question.findings, *(one for v in here for one in v.findings))
            found.append(missed.Asked(question.key, figures, said))
    return found
