"""What the page about a quiz shows, ready to be written out: words, rows and drawings."""

from dataclasses import dataclass

from clinic import quiz_words
from clinic.quiz_chart import Bars, Chart, bars, chart
from education.models import Question
from education.quiz_measured import Measured, MeasuredQuestion, MeasuredVersion
from education.rules.does_it_measure import GRAVE, Finding
from education.rules.item_statistics import Choice
from education.rules.module_parts import in_language
from education.rules.pass_mark import KNOWING, Quiz, chance_of_passing, questions_for
from patients.rules.languages import SOURCE_LANGUAGE

# Findings that the list of what was answered does not explain.
LITTLE_TO_SEE = {Finding.VERY_EASY, Finding.EASY_AS_IT_SHOULD_BE, Finding.NEVER_CHOSEN}
TOO_LITTLE, ENOUGH = 0.6, 0.9  # shares known that the sentence about the pass mark speaks of


@dataclass(frozen=True)
class ChoiceRow:
    """One thing that was given; shares are words, empty while there are too few quizzes."""

    words: str
    right: bool
    count: int
    upper: str
    lower: str


@dataclass(frozen=True)
class VersionRow:
    """One version of a question, as a row of the table and with its choices."""

    label: str
    anchor: str
    stem: str
    safety_critical: bool
    answered: int
    right: int
    ease: str
    ease_within: str
    tells: str
    tells_within: str
    findings: list[str]
    look: bool  # what was answered is worth looking at
    choices: list[ChoiceRow]
    no_answer: int


@dataclass(frozen=True)
class SectionRow:
    """A section with what its missed questions say; `missed` names the question missed most."""

    key: str
    heading: str
    words: str
    missed: str
    instead: str


@dataclass(frozen=True)
class PassRow:
    """How often somebody passes who truly knows a share of it all."""

    knows: str
    once: str
    in_tries: str


@dataclass(frozen=True)
class QuizPage:
    """The whole page."""

    lead: str
    caution: str
    remarks: list[tuple[bool, str]]
    rows: list[VersionRow]
    chart: Chart | None
    bars: Bars
    reliability: str
    pass_words: str
    pass_rows: list[PassRow]
    longer: Quiz | None
    sections: list[SectionRow]


def page(result: Measured, *, language: str, tries: int) -> QuizPage:
    """Put everything into words; `tries` is how many attempts the programme allows."""
    language = language or SOURCE_LANGUAGE
    rows = [
        _row(question, version, language)
        for question in result.questions
        for version in question.versions
    ]
    quiz = result.quiz
    return QuizPage(
        lead=quiz_words.lead(result),
        caution=quiz_words.caution(result),
        remarks=[(finding in GRAVE, words) for finding, words in quiz_words.remarks(result)],
        rows=rows,
        chart=_chart(result) if result.enough else None,
        bars=bars(result.counted.totals, questions=quiz.questions, needed=quiz.needed),
        reliability=quiz_words.reliability(result),
        pass_words=_pass_words(quiz, tries),
        pass_rows=[_pass_row(quiz, knows, tries) for knows in KNOWING],
        longer=_longer(quiz),
        sections=_sections(result, language),
    )


def _row(question: MeasuredQuestion, version: MeasuredVersion, language: str) -> VersionRow:
    figures, asked = version.figures, version.question
    enough = version.enough
    ease = ease_within = tells = tells_within = ""
    if enough and figures.difficulty is not None and figures.difficulty_within is not None:
        ease = quiz_words.per_cent(figures.difficulty)
        ease_within = quiz_words.share_within(figures.difficulty_within)
    if enough and figures.discrimination is not None and figures.discrimination_within is not None:
        tells = quiz_words.number(figures.discrimination)
        tells_within = quiz_words.number_within(figures.discrimination_within)
    said = [*version.findings, *(question.findings if version is question.versions[0] else ())]
    right = {one.name for one in version.offered if one.right}
    return VersionRow(
        label=quiz_words.label(question, version),
        anchor=f"question-{asked.key}-{asked.version}",
        stem=in_language(asked.stem, language),
        safety_critical=asked.safety_critical,
        answered=figures.answered,
        right=figures.right,
        ease=ease,
        ease_within=ease_within,
        tells=tells,
        tells_within=tells_within,
        findings=[quiz_words.finding_words(one) for one in said],
        look=bool(set(said) - LITTLE_TO_SEE),
        choices=[_choice(asked, c, right, enough, language) for c in figures.choices],
        no_answer=version.no_answer,
    )


def _choice(
    question: Question, choice: Choice, right: set[str], enough: bool, language: str
) -> ChoiceRow:
    upper = lower = ""
    if enough and choice.upper is not None and choice.lower is not None:
        upper, lower = quiz_words.per_cent(choice.upper), quiz_words.per_cent(choice.lower)
    words = quiz_words.choice_words(question, choice.name, language)
    return ChoiceRow(words, choice.name in right, choice.count, upper, lower)


def _chart(result: Measured) -> Chart:
    return chart(
        [
            (
                quiz_words.label(question, version),
                version.figures.difficulty,
                version.figures.difficulty_within,
                version.figures.discrimination,
                version.figures.discrimination_within,
                bool(GRAVE & {*version.findings, *question.findings}),
            )
            for question in result.questions
            for version in question.versions
            if version.enough
        ]
    )


def _pass_words(quiz: Quiz, tries: int) -> str:
    must = ""
    if quiz.must_be_right:
        must = (
            ", and the safety-critical question has to be right"
            if quiz.must_be_right == 1
            else f", and {_all(quiz.must_be_right)} safety-critical questions have to be right"
        )
    wrongly = chance_of_passing(quiz, TOO_LITTLE)
    again = chance_of_passing(quiz, TOO_LITTLE, tries=tries)
    rightly = chance_of_passing(quiz, ENOUGH)
    retakes = f", and with {tries} tries in {_of_hundred(again)}" if tries > 1 else ""
    return (
        f"Passing takes {quiz.needed} of {quiz.questions} right{must}. Somebody who truly knows "
        f"60 % of it passes in {_of_hundred(wrongly)} quizzes{retakes}. Somebody who knows 90 % "
        f"fails in {_of_hundred(1 - rightly)}."
    )


def _all(count: int) -> str:
    return "both" if count == 2 else f"all {count}"


def _of_hundred(chance: float) -> str:
    return f"{round(chance * 100)} of 100"


def _pass_row(quiz: Quiz, knows: float, tries: int) -> PassRow:
    return PassRow(
        "25 %, or guesses among four" if knows == KNOWING[0] else f"{round(knows * 100)} %",
        quiz_words.per_cent(chance_of_passing(quiz, knows)),
        quiz_words.per_cent(chance_of_passing(quiz, knows, tries=tries)) if tries > 1 else "",
    )


def _longer(quiz: Quiz) -> Quiz | None:
    """The shortest quiz that would part 60 % from 90 %, if this one is shorter."""
    found = questions_for(quiz.pass_mark)
    return found if found and found.questions > quiz.questions else None


def _sections(result: Measured, language: str) -> list[SectionRow]:
    by_key = {question.key: question for question in result.questions}
    rows = []
    for one in result.sections:
        missed = instead = ""
        if one.missed.wrong and one.missed.asked:
            most = by_key[one.missed.asked[0].question]
            missed = str(most.number)
            instead = _instead(most, language)
        heading = in_language(one.section.heading, language)
        rows.append(
            SectionRow(one.section.key, heading, quiz_words.section_words(one), missed, instead)
        )
    return rows


def _instead(question: MeasuredQuestion, language: str) -> str:
    """What was answered most often in place of the right answer, if anything was."""
    found = []
    for version in question.versions:
        right = {one.name for one in version.offered if one.right}
        wrong = [c for c in version.figures.choices if c.name not in right and c.count]
        found += [(c.count, version.question, c.name) for c in wrong]
    if not found:
        return ""
    _, asked, name = max(found, key=lambda one: one[0])
    return quiz_words.choice_words(asked, name, language)
