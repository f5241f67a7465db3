"""What another date or booking of an operation would do, and doing it by what the page showed."""

from collections.abc import Callable, Iterable
from copy import copy
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Any

from django.db import transaction

from clinic.confirm import AnswerChanged, OperationAnswer, answer
from education.eating_record import counts
from education.foresee import Foreseen, foresee_plan
from education.models import Invitation, MessageState
from education.personal_link import LinkState, link_state
from education.plan_moves import in_force, known_date
from education.plan_of import PlanOf, plan_if, plan_of
from education.rules.confirm import Requirement, Verdict, may_confirm
from education.rules.short_notice import Notice, short_notice
from patients import programme
from patients.clock import local_date
from patients.models import OPEN_BOOKINGS, Booking, Operation
from patients.schedule import change

SOURCE = "by hand"


class Fate(StrEnum):
    """What becomes of a link or of the email that carries it."""

    EMAIL_WITHDRAWN = "email_withdrawn"
    EMAIL_GOES_OUT = "email_goes_out"
    LINK_DIES = "link_dies"
    LINK_TOO_EARLY = "link_too_early"
    LINK_WORKS_AGAIN = "link_works_again"


class Telling(StrEnum):
    """How a patient who has the eating plan would hear that its dates are others."""

    EMAIL = "email"
    NO_EMAIL = "no_email"  # no address is on file: somebody calls
    CANCELLED = "cancelled"  # the link of a cancelled operation opens no more: somebody calls


@dataclass(frozen=True)
class Eating:
    """The eating plan as it is and as it would be; `telling`: None where nobody has to be told."""

    now: PlanOf
    then: PlanOf
    telling: Telling | None


@dataclass(frozen=True)
class Preview:
    """The answer and the assignments of an operation, with another date or booking.

    `fates` are by the assignment's id. `notice`: why the date would be on short notice. `eating`:
    what would become of the eating plan; None: the programme has no stages.
    """

    or_date: date | None
    booking: Booking
    verdict: Verdict
    lines: tuple[Foreseen, ...]
    fates: dict[int, Fate]
    notice: Notice | None
    eating: Eating | None


def preview(
    operation: Operation, *, or_date: date | None, booking: Booking, at: datetime
) -> Preview:
    """Say what this date and booking would do, asked at an instant; nothing is written."""
    settings = programme.current()
    on = local_date(at, settings.zone)
    lines = tuple(
        foresee_plan(operation, or_date=or_date, booking=booking, on=on, settings=settings)
    )
    verdict = may_confirm(
        [
            Requirement(x.assignment.pk, x.due_before_operation, x.then.answer)
            for x in lines
            if x.then
        ],
        has_date=or_date is not None,
        date_passed=or_date is not None and or_date < on,
        is_open=booking in OPEN_BOOKINGS,
    )
    windows = [x.then.window for x in lines if x.then and x.then.window and x.due_before_operation]
    notice = short_notice(or_date, windows, on=on, notice_days=settings.notice_days)
    return Preview(
        or_date=or_date,
        booking=booking,
        verdict=verdict,
        lines=lines,
        fates=_fates(lines, on=on, at=at),
        notice=notice,
        eating=_eating(operation, or_date=or_date, booking=booking, at=at),
    )


def _eating(
    operation: Operation, *, or_date: date | None, booking: Booking, at: datetime
) -> Eating | None:
    now = plan_of(operation, at=at)
    then = plan_if(operation, or_date=or_date, booking=booking, at=at)
    return Eating(now, then, _telling(now, then)) if now and then else None


def _telling(now: PlanOf, then: PlanOf) -> Telling | None:
    """Say how the patient would be told; `education.plan_moves` tells by the same conditions."""
    has_it = any(counts(one) for one in now.given)
    done = then.operation.booking == Booking.DONE
    if not has_it or done or known_date(now.operation) == in_force(then.operation):
        return None
    if then.operation.booking == Booking.CANCELLED:
        return Telling.CANCELLED
    return Telling.EMAIL if now.patient.email else Telling.NO_EMAIL


def _fates(lines: Iterable[Foreseen], *, on: date, at: datetime) -> dict[int, Fate]:
    found = {line.assignment.pk: _fate(line, on=on, at=at) for line in lines}
    return {pk: fate for pk, fate in found.items() if fate}


def _fate(line: Foreseen, *, on: date, at: datetime) -> Fate | None:
    """Say what becomes of the latest link; `education.follow` withdraws by the same conditions."""
    invitation = line.told.invitation
    if invitation is None or hasattr(invitation, "end"):
        return None
    window = line.then.window if line.then else None
    opened = window is not None and window.opens_on <= on
    message = getattr(invitation, "message", None)
    waits = message is not None and message.state == MessageState.WAITING
    if waits and not invitation.tokens.exists():
        return Fate.EMAIL_GOES_OUT if line.then and opened else Fate.EMAIL_WITHDRAWN
    if line.then is None:
        return Fate.LINK_DIES if line.now and _works(invitation, line, at) else None
    if not _works(invitation, line, at):
        return None
    if line.now is None:
        return Fate.LINK_WORKS_AGAIN
    return Fate.LINK_TOO_EARLY if window and not opened else None


def _works(invitation: Invitation, line: Foreseen, at: datetime) -> bool:
    """Whether the link is good, once its assignment is asked for."""
    assignment = copy(line.assignment)
    assignment.closed = False
    invitation.assignment = assignment
    return link_state(invitation, at=at) == LinkState.GOOD


class ForeseenChanged(AnswerChanged):
    """The answer is the one that the page showed; what the change would do is not."""


def replan(
    operation: Operation,
    *,
    seen: str,
    version: int,
    foreseen: str,
    foresee: Callable[[Operation], str],
    reason: str,
    at: datetime,
    by_id: int,
    or_date: date | None,
    booking: Booking,
) -> Operation:
    """Give an operation another date or booking, by what the page showed (promise S4).

    `foreseen`: what the page showed that this would do, as a short text; `foresee` says it of the
    operation as it is now. Raises AnswerChanged when the operation or its answer is another one
    now, and its kind ForeseenChanged when only what would follow is.
    """
    with transaction.atomic():
        latest = Operation.objects.select_for_update().get(pk=operation.pk)
        now: OperationAnswer = answer(latest, at=at)
        if version != latest.version or seen != now.seen:
            raise AnswerChanged(now)
        if foreseen != foresee(latest):
            raise ForeseenChanged(now)
        planned: dict[str, Any] = {"or_date": or_date}
        if booking != latest.booking:
            planned["booking"] = booking
        return change(latest, at=at, reason=reason, source=SOURCE, by_id=by_id, **planned)
