"""Answer a patient's question: by email, behind a personal link; by phone; or not at all.

Answers are written once. A later one stands in place of the earlier ones, behind their links too.
"""

from datetime import datetime, timedelta
from enum import StrEnum

from django.db import transaction

from education.addresses import is_blocked
from education.models import (
    AnswerLink,
    EndedBecause,
    MessageState,
    PatientQuestion,
    QuestionAnswer,
)
from education.new_message import new_message, wake_sender
from education.personal_link import end
from education.rules.asking import Arrived, Given, Means, Stand, stand
from patients import programme
from patients.contact import log_contact
from patients.models import Means as ContactMeans
from patients.models import Outcome

ANSWER = "answer"
ARRIVED = {
    MessageState.WAITING: Arrived.ON_ITS_WAY,
    MessageState.SENDING: Arrived.ON_ITS_WAY,
    MessageState.SENT: Arrived.WENT_OUT,
    MessageState.AMBIGUOUS: Arrived.UNSURE,
    MessageState.FAILED: Arrived.NO,
    MessageState.WITHDRAWN: Arrived.NO,
}


class AnswerRefusal(StrEnum):
    """Why no answer was kept."""

    NO_EMAIL = "no_email"
    COMES_BACK = "comes_back"  # nothing that is sent to the address arrives
    ANSWERED_MEANWHILE = "answered_meanwhile"


def answer(
    question: PatientQuestion, means: Means, text: str, *, seen: int, at: datetime, by_id: int
) -> QuestionAnswer | AnswerRefusal:
    """Keep an answer, and tell of it as its means say.

    `seen`: how many answers there were when it was written; somebody else's since then refuses it.
    By email a link goes to the address on file; by phone a contact is logged that reached them.
    """
    with transaction.atomic():
        question = (
            PatientQuestion.objects.select_for_update(of=("self",))
            .select_related("invitation__assignment__operation__patient")
            .get(pk=question.pk)
        )
        patient = question.patient
        if question.answers.count() != seen:
            return AnswerRefusal.ANSWERED_MEANWHILE
        if means == Means.EMAIL and not patient.email:
            return AnswerRefusal.NO_EMAIL
        if means == Means.EMAIL and is_blocked(patient.email, unasked=False):
            return AnswerRefusal.COMES_BACK
        _take_back_unsent(question, at=at)
        given = QuestionAnswer.objects.create(
            question=question, means=means, text=text, recorded_at=at, by_id=by_id
        )
        if means == Means.EMAIL:
            _send(given, at=at)
        elif means == Means.PHONE:
            log_contact(
                patient,
                means=ContactMeans.CALL,
                outcome=Outcome.REACHED,
                note="Answered a question by phone.",
                at=at,
                by_id=by_id,
            )
    return given


def _send(given: QuestionAnswer, *, at: datetime) -> None:
    patient = given.question.patient
    message = new_message(ANSWER, at=at, patient=patient)
    message.save()
    AnswerLink.objects.create(
        answer=given,
        message=message,
        address=patient.email,
        expires_at=at + timedelta(days=programme.current().link_valid_days),
        recorded_at=at,
    )
    wake_sender(message.pk)


def _take_back_unsent(question: PatientQuestion, *, at: datetime) -> None:
    """Withdraw the emails about earlier answers that never went out: one email is enough."""
    links = AnswerLink.objects.filter(answer__question=question, end__isnull=True)
    for link in links.filter(message__state=MessageState.WAITING, tokens__isnull=True):
        end(link, EndedBecause.REPLACED, at=at)


def given_of(one: QuestionAnswer) -> Given:
    """Return what the rule asks of an answer; its link's message is to be read along with it."""
    link: AnswerLink | None = getattr(one, "link", None)
    return Given(Means(one.means), ARRIVED[MessageState(link.message.state)] if link else None)


def stand_of(question: PatientQuestion) -> Stand:
    """Return where a question stands."""
    return stand([given_of(one) for one in question.answers.all()])
