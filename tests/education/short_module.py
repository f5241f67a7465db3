"""A module of true-or-false questions for tests that take many quizzes, and a quiz taken in it."""

from datetime import date, datetime

from education.models import Attempt, Edition, Invitation, Submission
from education.publish import publish
from education.rules.module_text import ModuleText, OptionText, QuestionText, SectionText
from education.rules.scoring import Given, Kind
from education.take import begin, save_answer, submit


def short_module(
    code: str = "sips", *, questions: int = 5, critical: tuple[int, ...] = (), pass_mark: int = 80
) -> ModuleText:
    """Return a module; `critical` holds the places of safety-critical questions, from 0."""
    return ModuleText(
        code=code,
        pass_mark=pass_mark,
        title={"en": f"Module {code}"},
        sections=(SectionText("why", {"en": "Why"}, {"en": "Small sips help."}),),
        questions=tuple(
            QuestionText(
                key=f"q{place}",
                kind=Kind.TRUE_FALSE,
                safety_critical=place in critical,
                section="why",
                stem={"en": f"Statement {place} is true."},
                explanation={"en": "It is."},
                options=(
                    OptionText("yes", {"en": "True"}, right=True),
                    OptionText("no", {"en": "False"}, right=False),
                ),
            )
            for place in range(questions)
        ),
    )


def a_short_edition(
    *, at: datetime, earlier_clearances_count: bool = True, text: ModuleText | None = None
) -> Edition:
    """Publish the next edition of the short module."""
    return publish(text or short_module(), at=at, earlier_clearances_count=earlier_clearances_count)


def answer(attempt: Attempt, pattern: str, *, at: datetime) -> None:
    """Answer the questions in order: "1" right, "0" wrong, "-" not at all."""
    questions = attempt.edition.questions.prefetch_related("options")
    for question, sign in zip(questions, pattern, strict=True):
        options = {option.key: option.pk for option in question.options.all()}
        if sign != "-":
            chosen = options["yes" if sign == "1" else "no"]
            save_answer(attempt, question, Given(options=frozenset({chosen})), at=at)


def hand_in(
    attempt: Attempt,
    *,
    at: datetime,
    given_names: str | None = None,
    family_names: str | None = None,
    birth_date: date | None = None,
) -> Submission:
    """Submit with the patient's own name and date of birth, unless another is given."""
    patient = attempt.invitation.assignment.operation.patient
    return submit(
        attempt,
        given_names=patient.given_names if given_names is None else given_names,
        family_names=patient.family_names if family_names is None else family_names,
        birth_date=birth_date or patient.birth_date,
        language="en",
        at=at,
    )


def take(invitation: Invitation, pattern: str, *, at: datetime, **typed: str) -> Submission:
    """Take the quiz behind a link from the first answer to the last."""
    attempt = begin(invitation, at=at)
    answer(attempt, pattern, at=at)
    return hand_in(attempt, at=at, given_names=typed.get("given_names"))
