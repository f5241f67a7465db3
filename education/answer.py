"""Answer a patient's question: by email, behind a personal link; by phone; or not at all.

Answers are written once. A later one stands in place of the earlier ones, behind their links too.
"""

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from django.db import transaction

from education.addresses import is_blocked
from education.invite import LinkState, digest
from education.models import (
    AnswerLink,
    AnswerLinkEnd,
    AnswerLinkToken,
    EndedBecause,
    Message,
    MessageState,
    PatientQuestion,
    QuestionAnswer,
)
from education.new_message import new_message, wake_sender
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


@dataclass(frozen=True)
class OpenedAnswer:
    """What a token opens; `link` is set unless the token is unknown."""

    state: LinkState
    link: AnswerLink | None


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
        end_answer_link(link, EndedBecause.REPLACED, at=at)


def given_of(one: QuestionAnswer) -> Given:
    """Return what the rule asks of an answer; its link's message is to be read along with it."""
    link: AnswerLink | None = getattr(one, "link", None)
    return Given(Means(one.means), ARRIVED[MessageState(link.message.state)] if link else None)


def stand_of(question: PatientQuestion) -> Stand:
    """Return where a question stands."""
    return stand([given_of(one) for one in question.answers.all()])


# --- the link ------------------------------------------------------------------------------------


def issue_answer_token(link: AnswerLink, *, at: datetime) -> str:
    """Make the token of one email: 256 random bits, of which only the hash is kept."""
    token = secrets.token_urlsafe(32)
    AnswerLinkToken.objects.create(link=link, digest=digest(token), recorded_at=at)
    return token


def open_answer(token: str, *, at: datetime) -> OpenedAnswer:
    """Look a token up; reads only."""
    row = (
        AnswerLinkToken.objects.filter(digest=digest(token))
        .select_related(
            "link__end", "link__answer__question__invitation__assignment__operation__patient"
        )
        .first()
    )
    if row is None:
        return OpenedAnswer(LinkState.UNKNOWN, None)
    return OpenedAnswer(answer_link_state(row.link, at=at), row.link)


def answer_link_state(link: AnswerLink, *, at: datetime) -> LinkState:
    """Say whether a link still works; one that went to another address does not."""
    patient = link.answer.question.patient
    if hasattr(link, "end") or link.address.lower() != patient.email.lower():
        return LinkState.ENDED
    return LinkState.EXPIRED if at >= link.expires_at else LinkState.GOOD


def end_answer_link(link: AnswerLink, because: EndedBecause, *, at: datetime) -> None:
    """End a link, and withdraw its email if that has not gone out."""
    with transaction.atomic():
        AnswerLinkEnd.objects.get_or_create(
            link=link, defaults={"because": because, "recorded_at": at}
        )
        Message.objects.filter(pk=link.message_id, state=MessageState.WAITING).update(
            state=MessageState.WITHDRAWN
        )
