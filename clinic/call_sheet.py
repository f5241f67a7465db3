"""What to go through on the phone: the points that a patient's quizzes missed."""

from dataclasses import dataclass

from education.answers_in_words import in_words, right_answer
from education.given import from_json
from education.models import MATCHED, Assignment, IdentityDecision, Question, SubmissionAnswer
from patients.speaks_for import spoken_for

ENGLISH = "en"


@dataclass(frozen=True)
class Point:
    """One missed question, in English; `stem_theirs` is it in the patient's own language."""

    question: Question
    stem: str
    answered: str
    right: str
    explanation: str
    stem_theirs: str
    right_theirs: str
    times: int


def points(assignment: Assignment, *, language: str) -> list[Point]:
    """Return what the patient missed since the last pass of the module, the unsafe points first.

    Of each question the latest wrong answer is shown; `times` says how often it was wrong.
    """
    wrong: dict[str, list[SubmissionAnswer]] = {}
    for answer in _wrong_since_pass(assignment):
        wrong.setdefault(answer.question.key, []).append(answer)
    found = [_point(answers[-1], len(answers), language) for answers in wrong.values()]
    return sorted(
        found, key=lambda p: (not p.question.safety_critical, -p.times, p.question.position)
    )


def _wrong_since_pass(assignment: Assignment) -> list[SubmissionAnswer]:
    records = spoken_for([assignment.operation.patient_id])
    decisions = (
        IdentityDecision.objects.in_force(patient__in=list(records), verdict__in=MATCHED)
        .filter(submission__edition__module=assignment.module_id)
        .select_related("submission")
        .order_by("submission__recorded_at", "submission_id")
    )
    since: list[int] = []
    for decision in decisions:
        since = [] if decision.submission.passed else [*since, decision.submission_id]
    return list(
        SubmissionAnswer.objects.filter(submission__in=since, right=False)
        .select_related("question", "submission")
        .prefetch_related("question__options")
        .order_by("submission__recorded_at", "submission_id", "question__position")
    )


def _point(answer: SubmissionAnswer, times: int, language: str) -> Point:
    question = answer.question
    given = from_json(answer.given) if answer.given else None
    theirs = "" if language == ENGLISH else language
    return Point(
        question=question,
        stem=question.stem[ENGLISH],
        answered="; ".join(in_words(question, given, ENGLISH)) or "no answer",
        right=_right(question, ENGLISH),
        explanation=question.explanation.get(ENGLISH, ""),
        stem_theirs=question.stem.get(theirs, ""),
        right_theirs=_right(question, theirs) if theirs else "",
        times=times,
    )


def _right(question: Question, language: str) -> str:
    return "; ".join(in_words(question, right_answer(question), language))
