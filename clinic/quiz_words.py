"""What the page about a quiz says, in plain words."""

from collections.abc import Collection, Mapping, Sequence

from education.models import Question
from education.quiz_answers import PAIR, THEN
from education.quiz_measured import (
    CHOSEN,
    Measured,
    MeasuredQuestion,
    MeasuredSection,
    MeasuredVersion,
)
from education.rules.does_it_measure import FEW, GOOD_RELIABILITY, GRAVE, LEAST, Finding
from education.rules.item_statistics import Interval
from education.rules.missed import Reading
from education.rules.module_parts import in_language
from education.rules.reliability import lengthened
from education.rules.scoring import Kind

# Of one question, and of several: what follows "Question 3" and "Questions 3 and 7".
FINDING: Mapping[Finding, tuple[str, str]] = {
    Finding.BACKWARDS: (
        "the better a patient did on the other questions, the more likely they got this one wrong. "
        "Check its right answer first, then read it again.",
        "the better a patient did on the other questions, the more likely they got these wrong. "
        "Check their right answers first, then read them again.",
    ),
    Finding.DRAWS_THE_BEST: (
        "a wrong answer draws those who know most. Read it as they may have read it.",
        "a wrong answer draws those who know most. Read them as they may have read them.",
    ),
    Finding.VERSIONS_DIFFER: (
        "one version is harder than another. Which one a patient got should not matter.",
        "one version is harder than another. Which one a patient got should not matter.",
    ),
    Finding.HARD: (
        "few get it right. The teaching, the question or its right answer may be at fault.",
        "few get them right. The teaching, the questions or their right answers may be at fault.",
    ),
    Finding.PERHAPS_BACKWARDS: (
        "those who did better on the other questions did not do better here. It may be chance.",
        "those who did better on the other questions did not do better here. It may be chance.",
    ),
    Finding.WEAK: (
        "it hardly tells those who did well from those who did not.",
        "they hardly tell those who did well from those who did not.",
    ),
    Finding.VERY_EASY: (
        "nearly everyone gets it right: it tells you little.",
        "nearly everyone gets them right: they tell you little.",
    ),
    Finding.EASY_AS_IT_SHOULD_BE: (
        "nearly everyone gets it right. It is safety-critical, so after the teaching that is what "
        "you want.",
        "nearly everyone gets them right. They are safety-critical, so after the teaching that is "
        "what you want.",
    ),
    Finding.NEVER_CHOSEN: (
        "a wrong option was chosen by nobody: it does no work.",
        "a wrong option was chosen by nobody: it does no work.",
    ),
}


def per_cent(share: float) -> str:
    """Return a share in whole per cent; nearly all and nearly none are never rounded to it."""
    whole = round(share * 100)
    if whole == 100 and share < 1:
        return "over 99 %"
    if whole == 0 and share > 0:
        return "under 1 %"
    return f"{whole} %"


def share_within(within: Interval) -> str:
    """Return the interval of a share: 81 to 90 %."""
    return f"{round(within.low * 100)} to {round(within.high * 100)} %"


def number(value: float) -> str:
    """Return a correlation with two decimals and a true minus sign."""
    return f"{value:.2f}".replace("-", "−").replace("−0.00", "0.00")


def number_within(within: Interval) -> str:
    """Return the interval of a correlation: −0.05 to 0.31."""
    return f"{number(within.low)} to {number(within.high)}"


def lead(result: Measured) -> str:
    """Return the one thing that matters first."""
    quizzes = result.counted.quizzes
    if not result.enough:
        few = "1 quiz is" if quizzes == 1 else f"{quizzes} quizzes are"
        return (
            f"{few} too few to say whether this quiz measures anything. Until there are {LEAST}, "
            "this page counts and says no more."
        )
    found = about(result, GRAVE)
    if found:
        return (
            f"Read {questions(found)} again first: "
            f"{'it' if len(found) == 1 else 'they'} may not measure understanding."
        )
    easy = {Finding.VERY_EASY, Finding.EASY_AS_IT_SHOULD_BE}
    if all(easy & set(every_finding(question)) for question in result.questions):
        return (
            "Nearly everyone gets everything right. This quiz shows who went through the teaching; "
            "it can hardly show who did not understand."
        )
    return "No question stands out as one that misleads."


def caution(result: Measured) -> str:
    """Return how far figures may be off for their number alone; nothing with many quizzes."""
    quizzes = result.counted.quizzes
    if not result.enough or quizzes >= FEW:
        return ""
    return (
        f"{quizzes} quizzes are few. A share right may be off by {round(98 / quizzes**0.5)} points "
        "either way, and how a question tells patients apart by "
        f"{1.96 / (quizzes - 3) ** 0.5:.1f}. "
        "Take what stands here for a hint, and look again when there are more."
    )


def remarks(result: Measured) -> list[tuple[Finding, str]]:
    """Return a sentence for each finding, the most urgent first, with the questions it is about."""
    found = []
    for finding, words in FINDING.items():
        which = about(result, {finding})
        if which:
            found.append((finding, f"{questions(which).capitalize()}: {words[len(which) > 1]}"))
    return found


def about(result: Measured, findings: Collection[Finding]) -> list[str]:
    """Return what the questions or versions are called that have one of these findings."""
    which = []
    for question in result.questions:
        if set(findings) & set(question.findings):
            which.append(str(question.number))
            continue
        which += [label(question, v) for v in question.versions if set(findings) & set(v.findings)]
    return which


def label(question: MeasuredQuestion, version: MeasuredVersion) -> str:
    """Return what a version is called: 3, or with several versions 3.1 and 3.2."""
    several = len(question.versions) > 1
    return f"{question.number}.{version.question.version}" if several else str(question.number)


def every_finding(question: MeasuredQuestion) -> set[Finding]:
    """Return what is found of a question and of its versions."""
    return {*question.findings, *(one for v in question.versions for one in v.findings)}


def questions(labels: Sequence[str]) -> str:
    """Return "question 3", "questions 3 and 7", "questions 1, 3.2 and 7"."""
    if len(labels) == 1:
        return f"question {labels[0]}"
    *most, last = labels
    return f"questions {', '.join(most)} and {last}"


def finding_words(finding: Finding) -> str:
    """Return a finding of one question, with a capital letter."""
    words = FINDING[finding][0]
    return f"{words[0].upper()}{words[1:]}"


def reliability(result: Measured) -> str:
    """Return what KR-20 says, in plain words first."""
    value, within = result.reliability, result.reliability_within
    if value is None or within is None:
        return (
            "Every patient had the same number right, or there is one question only: whether the "
            "questions agree with each other cannot be said."
        )
    figure = f"KR-20 is {number(value)} (95 % interval {number_within(within)})"
    if value >= GOOD_RELIABILITY:
        return (
            f"The questions agree with each other. {figure}; {GOOD_RELIABILITY:.2f} and more is "
            "usual for a test in class."
        )
    said = (
        "The questions agree little with each other: another quiz of the same sort could rank the "
        f"same patients otherwise. {figure}; {GOOD_RELIABILITY:.2f} and more is usual for a test "
        "in class. Where nearly everyone has nearly everything right this is to be expected, and "
        "no fault."
    )
    if value > 0:
        said += (
            " With twice as many questions of the same sort it would be about "
            f"{number(lengthened(value, 2))}."
        )
    return said


def section_words(found: MeasuredSection) -> str:
    """Return what the missed questions say about a section."""
    section = found.missed
    wrong = f"{section.wrong} of {section.answers} answers about it are wrong"
    share = f"{per_cent(section.share_wrong)} of the answers about it are wrong"
    return {
        Reading.NOT_ASKED: "No question asks about it, so whether it gets across is not known.",
        Reading.TOO_FEW: f"{wrong}. That is too few quizzes to say more.",
        Reading.QUESTIONS_FIRST: (
            f"{share}, but the question that is missed is in doubt itself. Read the question again "
            "before you change the section."
        ),
        Reading.TEACHING_FIRST: (
            f"{share}, and at least one question is missed by many. Read the section again: does "
            "it say this plainly, and early enough?"
        ),
        Reading.SOME: f"{share}. Most take it in, some do not.",
        Reading.GETS_ACROSS: f"It gets across: {share}.",
    }[section.reading]


def choice_words(question: Question, name: str, language: str) -> str:
    """Return what was given, in the words of the question."""
    options = {str(option.pk): option for option in question.options.all()}

    if question.kind in CHOSEN:
        return in_language(options[name].text, language) if name in options else name
    if question.kind == Kind.NUMBER:
        return f"{name} {in_language(question.unit, language)}".strip()
    if question.kind == Kind.MATCH:
        asked, _, answered = name.partition(PAIR)
        if asked in options and answered in options:
            left = in_language(options[asked].text, language)
            return f"{left} = {in_language(options[answered].match, language)}"
        return name
    return ", then ".join(
        in_language(options[one].text, language) for one in name.split(THEN) if one in options
    )
