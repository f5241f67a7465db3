"""Teach-back: which points to go through with a patient, and what came of the conversation.

Why the points and outcomes are these: education/rules/teach_back.py.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from education.clear import clear_by_teach_back
from education.models import (
    MATCHED,
    Assignment,
    IdentityDecision,
    Question,
    SubmissionAnswer,
    TeachBack,
    TeachBackPoint,
)
from education.rules.teach_back import (
    Objected,
    PointTold,
    TeachBackOutcome,
    keys_to_ask,
    objections,
)
from education.teach_back_words import asked_in_words
from patients import programme
from patients.contact import Instead, correct_contact, log_contact
from patients.models import Contact, ContactCorrection, Means, Outcome
from patients.rules.languages import SOURCE_LANGUAGE
from patients.speaks_for import locked_speaker, spoken_for


@dataclass(frozen=True)
class Point:
    """A question to go through: the version that was missed last, or the first one.

    `missed` is the last wrong answer to it, `times` how often it was wrong.
    """

    question: Question
    missed: SubmissionAnswer | None = None
    times: int = 0


@dataclass(frozen=True)
class Said:
    """What a patient said about a point; `understood` None: it was not gone through."""

    said: str = ""
    understood: bool | None = None


class MayNotEnd(Exception):
    """The teach-back cannot end this way; `objections` say why, of which points."""

    def __init__(self, found: tuple[Objected, ...]) -> None:
        super().__init__(", ".join(one.objection for one in found))
        self.objections = found


class ClearanceRestsOnIt(Exception):
    """The conversation is the evidence of a clearance that holds: that is revoked first."""


def points_of(assignment: Assignment) -> list[Point]:
    """Return what to go through, the safety-critical points first, then what was wrong most often.

    What the patient missed since the last pass of the module; without that, all safety-critical
    points of the latest edition.
    """
    wrong: dict[str, list[SubmissionAnswer]] = {}
    for answer in _wrong_since_pass(assignment):
        wrong.setdefault(answer.question.key, []).append(answer)
    points = {
        key: Point(answers[-1].question, answers[-1], len(answers))
        for key, answers in wrong.items()
    }
    if not points:
        points = {question.key: Point(question) for question in _first_versions(assignment)}
    safety = [key for key, point in points.items() if point.question.safety_critical]
    asked = [points[key] for key in keys_to_ask(list(wrong), safety, list(points))]
    return sorted(
        asked,
        key=lambda p: (not p.question.safety_critical, -p.times, p.question.position),
    )


def record(
    assignment: Assignment,
    *,
    outcome: TeachBackOutcome,
    means: Means,
    said: Mapping[str, Said],
    next_on: date | None,
    at: datetime,
    by_id: int,
    note: str = "",
    one_more_attempt: bool = False,
) -> TeachBack:
    """Keep a teach-back: what was asked and said, the contact, and the clearance it is evidence of.

    One transaction: all of it is stored or none. `said` by the question's key. `one_more_attempt`
    counts where the patient did not understand yet. Raises MayNotEnd.
    """
    with transaction.atomic():
        patient = locked_speaker(assignment.operation.patient)
        points = points_of(assignment)
        told = [(point, said.get(point.question.key, Said())) for point in points]
        against = objections(
            (_told(point, words) for point, words in told),
            outcome,
            next_on=next_on,
            on=programme.local_day(at),
        )
        if against:
            raise MayNotEnd(against)
        contact = log_contact(
            patient,
            means=means,
            outcome=Outcome.REACHED,
            note=note,
            next_on=next_on,
            at=at,
            by_id=by_id,
        )
        understood = outcome == TeachBackOutcome.UNDERSTOOD
        held = TeachBack.objects.create(
            patient=patient,
            assignment=assignment,
            edition=assignment.module.latest_edition,
            outcome=outcome,
            contact=contact,
            clearance=clear_by_teach_back(patient, assignment.module, at=at, by_id=by_id, note=note)
            if understood
            else None,
            one_more_attempt=one_more_attempt and outcome == TeachBackOutcome.NOT_YET,
            recorded_at=at,
            by_id=by_id,
        )
        TeachBackPoint.objects.bulk_create(
            TeachBackPoint(
                teach_back=held,
                question=point.question,
                asked=asked_in_words(point.question, {SOURCE_LANGUAGE, patient.language}),
                said=words.said.strip(),
                understood=words.understood,
                missed=point.missed is not None,
            )
            for point, words in told
        )
    return held


def correct(
    contact: Contact, *, instead: Instead | None, reason: str, at: datetime, by_id: int
) -> ContactCorrection:
    """Correct a contact. That of a teach-back can only be said not to have been, `instead` None.

    Raises ClearanceRestsOnIt while a clearance rests on it, and AlreadyCorrected.
    """
    with transaction.atomic():
        locked_speaker(contact.patient)
        held = TeachBack.objects.filter(contact=contact).select_related("clearance").first()
        if held and held.clearance and not hasattr(held.clearance, "revocation"):
            raise ClearanceRestsOnIt
        if held and instead is not None:
            raise ValueError("the contact of a teach-back cannot be made another one")
        return correct_contact(contact, instead=instead, reason=reason, at=at, by_id=by_id)


def _told(point: Point, words: Said) -> PointTold:
    question = point.question
    return PointTold(question.key, question.safety_critical, words.said, words.understood)


def _first_versions(assignment: Assignment) -> list[Question]:
    rows = Question.objects.filter(edition=assignment.module.latest_edition, version=1)
    return list(
        rows.select_related("section", "edition").prefetch_related("options").order_by("position")
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
        .select_related("question__section", "question__edition", "submission")
        .prefetch_related("question__options")
        .order_by("submission__recorded_at", "submission_id", "question__position")
    )
