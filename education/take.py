"""Take a quiz: begin an attempt, save answers as they are given, submit once."""

from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import BigIntegerField, Exists, OuterRef, QuerySet

from education.attempts import may_begin
from education.drawn import keys_of
from education.given import from_json, to_json
from education.identify import identify
from education.models import (
    Attempt,
    DraftAnswer,
    Edition,
    Invitation,
    Question,
    Submission,
    SubmissionAnswer,
)
from education.rules.quiz_way import LEFT_AND_TAKEN_UP
from education.rules.scoring import Given, is_right, score
from patients import prepared
from patients.conflicts import tried_again


class NoAttemptLeft(Exception):
    """The programme allows no further attempt, or the quiz was passed already."""


class Unanswered(Exception):
    """A question has no answer yet, and only a whole quiz was to be handed in."""


@tried_again
def begin(invitation: Invitation, *, at: datetime) -> Attempt:
    """Return the attempt in progress, or begin one on the latest edition.

    An attempt that was left unfinished behind an earlier link to the same address goes on behind
    this one, with its edition and its answers. Raises NoAttemptLeft when the last one was passed,
    or all were used.
    """
    with transaction.atomic():
        Invitation.objects.select_for_update().get(pk=invitation.pk)
        unfinished = in_progress(invitation)
        if unfinished and unfinished.invitation_id == invitation.pk:
            return unfinished
        if not may_begin(invitation):
            raise NoAttemptLeft
        attempt = Attempt.objects.create(
            invitation=invitation,
            edition=unfinished.edition
            if unfinished
            else invitation.assignment.module.latest_edition,
            number=invitation.attempts.count() + 1,
            **_draw(invitation, unfinished),
            recorded_at=at,
        )
        if unfinished:
            DraftAnswer.objects.bulk_create(
                DraftAnswer(
                    attempt=attempt,
                    question_id=draft.question_id,
                    given=draft.given,
                    recorded_at=draft.recorded_at,
                )
                for draft in unfinished.drafts.all()
            )
    return attempt


def in_progress(invitation: Invitation) -> Attempt | None:
    """Return the unfinished attempt that `begin` would go on with, or None.

    It is this link's own, or was left behind an earlier link to the same address; the answers of
    whoever got a link at another address stay with that link. What was begun on a shared screen
    goes on there. One that was overtaken is not gone on with: its answers were shown since.
    """
    own = _last_of_link.first(invitation=invitation.pk)
    if own:
        own.invitation = invitation
        # Asked along with the attempt: each page of a quiz reads it.
        return None if hasattr(own, "submission") or vars(own)["overtaken"] else own
    if invitation.way not in LEFT_AND_TAKEN_UP:
        return None
    earlier = (
        Attempt.objects.filter(
            invitation__assignment=invitation.assignment_id,
            invitation__way=invitation.way,
            invitation__address__iexact=invitation.address,
        )
        .select_related("submission", "edition")
        .order_by("recorded_at", "id")
        .last()
    )
    if earlier is None or hasattr(earlier, "submission") or superseded(earlier.edition):
        return None
    return None if overtaken_by(earlier) else earlier


def overtaken_by(attempt: Attempt) -> Submission | None:
    """Return the quiz that was handed in by another way since an attempt began, if one was.

    Whoever handed that in has seen the right answers to the same questions.
    """
    return (
        Submission.objects.filter(
            attempt__invitation__assignment__invitations=attempt.invitation_id,
            recorded_at__gt=attempt.recorded_at,
        )
        .exclude(attempt=attempt)
        .order_by("recorded_at", "id")
        .first()
    )


@prepared.prepared
def _last_of_link() -> QuerySet[Attempt]:
    own = Attempt.objects.filter(invitation=prepared.Given("invitation", BigIntegerField()))
    since = Submission.objects.filter(
        attempt__invitation__assignment=OuterRef("invitation__assignment"),
        recorded_at__gt=OuterRef("recorded_at"),
    ).exclude(attempt=OuterRef("pk"))
    asked = own.annotate(overtaken=Exists(since)).select_related("submission", "edition")
    return asked.order_by("-number")[:1]


def _draw(invitation: Invitation, unfinished: Attempt | None) -> dict[str, Any]:
    """What the draw of a new attempt follows from: how often this was handed in, and nothing else.

    What goes on behind a new link goes on with its own draw, so that its answers still fit.
    """
    if unfinished:
        return {"seed": unfinished.seed, "turn": unfinished.turn}
    handed_in = Submission.objects.filter(attempt__invitation__assignment=invitation.assignment_id)
    return {"seed": str(invitation.assignment_id), "turn": handed_in.count()}


def superseded(edition: Edition) -> bool:
    """Whether a clearance on this edition would not count any more."""
    later = Edition.objects.filter(module=edition.module_id, number__gt=edition.number)
    return later.filter(earlier_clearances_count=False).exists()


@tried_again
def save_answer(attempt: Attempt, question: Question, given: Given, *, at: datetime) -> None:
    """Keep an answer as it is given; the last one given counts. Does nothing once submitted."""
    with transaction.atomic():
        _held(attempt=attempt.pk)
        if _handed_in(attempt=attempt.pk):
            return
        DraftAnswer.objects.bulk_create(
            [DraftAnswer(attempt=attempt, question=question, given=to_json(given), recorded_at=at)],
            update_conflicts=True,
            unique_fields=["attempt", "question"],
            update_fields=["given", "recorded_at"],
        )


@tried_again
def submit(
    attempt: Attempt,
    *,
    given_names: str,
    family_names: str,
    birth_date: date,
    language: str,
    at: datetime,
    only_whole: bool = False,
    by_id: int | None = None,
    answered_on: date | None = None,
) -> Submission:
    """Score the attempt, keep it with the typed name and date of birth, and ask whose it is.

    One transaction: submission, score, identity decision and clearance are stored together or not
    at all. Sent twice, the first one stands and is returned. What has no answer is wrong; with
    `only_whole` it raises Unanswered instead, and nothing is stored. `by_id`: who typed it, where
    that was not the patient; `answered_on`: the day on which a sheet of paper was filled in.
    """
    with transaction.atomic():
        _held(attempt=attempt.pk)
        for earlier in _handed_in(attempt=attempt.pk):
            return earlier
        asked = keys_of(attempt)
        keys = list(asked.values())
        given = answers_given(attempt)
        if only_whole and any(key.question_id not in given for key in keys):
            raise Unanswered
        result = score(keys, given, pass_mark=attempt.edition.pass_mark)
        submission = Submission.objects.create(
            attempt=attempt,
            edition=attempt.edition,
            language=language,
            given_names=given_names,
            family_names=family_names,
            birth_date=birth_date,
            right=result.right,
            total=result.total,
            passed=result.passed,
            unsafe=[name for name, key in asked.items() if key.question_id in result.unsafe],
            by_id=by_id,
            answered_on=answered_on,
            recorded_at=at,
        )
        SubmissionAnswer.objects.bulk_create(
            SubmissionAnswer(
                submission=submission,
                question_id=key.question_id,
                given=to_json(given[key.question_id]) if key.question_id in given else None,
                right=is_right(key, given.get(key.question_id)),
            )
            for key in keys
        )
        identify(submission, at=at, new=True)
    return submission


def answers_given(attempt: Attempt) -> dict[int, Given]:
    """Return the saved answers by question id."""
    return {question: from_json(given) for question, given in _drafts(attempt=attempt.pk)}


@prepared.prepared
def _held() -> QuerySet[Attempt]:
    one = Attempt.objects.filter(pk=prepared.Given("attempt", BigIntegerField()))
    return one.select_for_update()


@prepared.prepared
def _handed_in() -> QuerySet[Submission]:
    return Submission.objects.filter(attempt=prepared.Given("attempt", BigIntegerField()))


@prepared.prepared
def _drafts() -> "QuerySet[DraftAnswer, Any]":
    of_attempt = DraftAnswer.objects.filter(attempt=prepared.Given("attempt", BigIntegerField()))
    return of_attempt.values_list("question_id", "given")
