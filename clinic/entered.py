"""What came of a quiz that staff typed: the score, whose it is, and what to tell the patient."""

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from clinic.submissions import decision_words, in_force, matched_patient, with_people
from clinic.way_words import how_it_came
from education.answers_in_words import in_words, right_answer
from education.attempts import attempts_left
from education.given import from_json
from education.models import Submission
from patients.models import Patient
from patients.rules.languages import SOURCE_LANGUAGE


@dataclass(frozen=True)
class Missed:
    """One question that was not right: what was answered, what is right, and why."""

    number: int
    stem: str
    answered: str
    right: str
    explanation: str
    safety_critical: bool


@dataclass(frozen=True)
class Came:
    """`decision`: in words, "" when a person has to decide; `left`: attempts that remain."""

    submission: Submission
    how: str
    decision: str
    patient: Patient | None
    missed: list[Missed]
    left: int


def what_came_of(submission: Submission, *, zone: ZoneInfo) -> Came:
    """Read it, in English; an edition always has that."""
    row = with_people(Submission.objects.filter(pk=submission.pk)).get()
    decided = in_force(row)
    return Came(
        submission=row,
        how=how_it_came(row, zone=zone),
        decision=decision_words(decided) if decided else "",
        patient=matched_patient(decided),
        missed=_missed(row),
        left=attempts_left(row.attempt.invitation.assignment_id),
    )


def _missed(submission: Submission) -> list[Missed]:
    answers = submission.answers.select_related("question").prefetch_related("question__options")
    in_order = answers.order_by("question__position")
    return [
        Missed(
            number=number,
            stem=one.question.stem[SOURCE_LANGUAGE],
            answered="; ".join(
                in_words(one.question, from_json(one.given) if one.given else None, SOURCE_LANGUAGE)
            )
            or "no answer",
            right="; ".join(in_words(one.question, right_answer(one.question), SOURCE_LANGUAGE)),
            explanation=one.question.explanation.get(SOURCE_LANGUAGE, ""),
            safety_critical=one.question.safety_critical,
        )
        for number, one in enumerate(in_order, start=1)
        if not one.right
    ]
