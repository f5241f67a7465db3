"""Give a quiz by another way than the emailed link: on paper, on a shared screen, by telephone.

Each is an invitation by its way, made by a member of staff, so that whatever is asked of an attempt
(whose link, which edition, which draw, how often) is asked of it too.
"""

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from django.db import transaction

from education.invite import Refusal, refusal
from education.models import Assignment, Attempt, Invitation, QuizCode, Submission
from education.personal_link import LinkState, issue_token, link_state
from education.rules import quiz_code
from education.rules.quiz_way import Way
from education.take import begin, overtaken_by
from patients import programme
from patients.rules.languages import SOURCE_LANGUAGE

CODE_GOOD = timedelta(minutes=30)  # to type the code of a screen
SCREEN_GOOD = timedelta(hours=4)  # however busy: a patient reads and answers in less


class SheetState(StrEnum):
    """What may still be done with a printed sheet."""

    GOOD = "good"
    EXPIRED = "expired"  # counts if it was filled in before
    USED = "used"
    WITHDRAWN = "withdrawn"
    CLOSED = "closed"  # no longer required
    OVERTAKEN = "overtaken"  # the quiz was handed in by another way since it was printed


MAY_BE_ENTERED = frozenset({SheetState.GOOD, SheetState.EXPIRED})


class ScreenRefusal(StrEnum):
    """Why a code opens nothing on a shared screen."""

    UNKNOWN = "unknown"  # never given, or a sheet's
    USED = "used"
    TOO_OLD = "too_old"
    ENDED = "ended"


@dataclass(frozen=True)
class Sheet:
    """A printed sheet: its code, the attempt that it fixes, and what may be done with it."""

    code: QuizCode
    attempt: Attempt
    state: SheetState
    overtaken_by: Submission | None = None

    @property
    def submission(self) -> Submission | None:
        """What was handed in on it."""
        return getattr(self.attempt, "submission", None)


def print_sheet(
    assignment: Assignment, *, language: str, at: datetime, by_id: int
) -> QuizCode | Refusal:
    """Make a sheet: its code, and the attempt that fixes edition, versions and order.

    The language is the one asked for if the edition has it, else the one it was written in.
    """
    with transaction.atomic():
        given = _give(assignment, Way.PAPER, good_for=_as_long_as_a_link(), at=at, by_id=by_id)
        if isinstance(given, Refusal):
            return given
        begin(given, at=at)
        return _code(given, language, at=at)


def open_screen(
    assignment: Assignment, *, language: str, at: datetime, by_id: int
) -> QuizCode | Refusal:
    """Make the code that opens this quiz, and nothing else, on a shared screen, once."""
    with transaction.atomic():
        given = _give(assignment, Way.KIOSK, good_for=SCREEN_GOOD, at=at, by_id=by_id)
        return given if isinstance(given, Refusal) else _code(given, language, at=at)


def trade(code: str, *, at: datetime) -> tuple[QuizCode, str] | ScreenRefusal:
    """Give a token for a screen's code, once."""
    with transaction.atomic():
        found = (
            QuizCode.objects.select_for_update(of=("self",))
            .select_related("invitation__assignment__operation__patient", "invitation__end")
            .filter(code=code, invitation__way=Way.KIOSK)
            .first()
        )
        if found is None:
            return ScreenRefusal.UNKNOWN
        if found.invitation.tokens.exists():
            return ScreenRefusal.USED
        if at >= found.recorded_at + CODE_GOOD:
            return ScreenRefusal.TOO_OLD
        if link_state(found.invitation, at=at) != LinkState.GOOD:
            return ScreenRefusal.ENDED
        return found, issue_token(found.invitation, at=at)


def call(assignment: Assignment, *, at: datetime, by_id: int) -> Invitation | Refusal:
    """Begin to read the quiz on the phone; one that was begun and not handed in goes on."""
    with transaction.atomic():
        begun = unfinished_call(assignment, at=at)
        if begun:
            return begun
        given = _give(assignment, Way.PHONE, good_for=_as_long_as_a_link(), at=at, by_id=by_id)
        if not isinstance(given, Refusal):
            begin(given, at=at)
        return given


def unfinished_call(assignment: Assignment, *, at: datetime) -> Invitation | None:
    """Return the call whose quiz is begun and may go on."""
    rows = assignment.invitations.filter(way=Way.PHONE, expires_at__gt=at)
    latest = rows.select_related("assignment__operation__patient", "end").last()
    if latest is None or link_state(latest, at=at) != LinkState.GOOD:
        return None
    attempt = attempt_of(latest)
    over = hasattr(attempt, "submission") or overtaken_by(attempt)
    return None if over else latest


def attempt_of(invitation: Invitation) -> Attempt:
    """Return the one attempt that a sheet or a call has, with its edition and submission."""
    return invitation.attempts.select_related("edition__module", "submission__by").get()


def sheet_of(code: str, *, at: datetime) -> Sheet | None:
    """Find a printed sheet by its code, as it is stored."""
    found = (
        QuizCode.objects.filter(code=code, invitation__way=Way.PAPER)
        .select_related("invitation__assignment__operation__patient", "invitation__end")
        .select_related("invitation__by")
        .first()
    )
    return read_sheet(found, at=at) if found else None


def read_sheet(code: QuizCode, *, at: datetime) -> Sheet:
    """Say what may still be done with a sheet."""
    attempt = attempt_of(code.invitation)
    attempt.invitation = code.invitation
    if hasattr(attempt, "submission"):
        return Sheet(code, attempt, SheetState.USED)
    if hasattr(code.invitation, "end"):
        return Sheet(code, attempt, SheetState.WITHDRAWN)
    if code.invitation.assignment.closed:
        return Sheet(code, attempt, SheetState.CLOSED)
    other = overtaken_by(attempt)
    if other:
        return Sheet(code, attempt, SheetState.OVERTAKEN, other)
    expired = at >= code.invitation.expires_at
    return Sheet(code, attempt, SheetState.EXPIRED if expired else SheetState.GOOD)


def language_for(assignment: Assignment, wanted: str) -> str:
    """Return the wanted language if the latest edition has it, else the one it was written in."""
    latest = assignment.module.editions.order_by("-number").first()
    return wanted if latest and wanted in latest.languages else SOURCE_LANGUAGE


def _give(
    assignment: Assignment, way: Way, *, good_for: timedelta, at: datetime, by_id: int
) -> Invitation | Refusal:
    locked = (
        Assignment.objects.select_for_update(of=("self",))
        .select_related("operation__patient", "module")
        .get(pk=assignment.pk)
    )
    refused = refusal(locked, at=at, way=way)
    if refused:
        return refused
    return Invitation.objects.create(
        assignment=locked, way=way, expires_at=at + good_for, recorded_at=at, by_id=by_id
    )


def _as_long_as_a_link() -> timedelta:
    return timedelta(days=programme.current().link_valid_days)


def _code(invitation: Invitation, language: str, *, at: datetime) -> QuizCode:
    code = quiz_code.make(secrets.choice)
    while QuizCode.objects.filter(code=code).exists():
        code = quiz_code.make(secrets.choice)
    return QuizCode.objects.create(
        invitation=invitation,
        code=code,
        language=language_for(invitation.assignment, language),
        recorded_at=at,
    )
