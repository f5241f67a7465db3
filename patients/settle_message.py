"""A person settles a schedule message that waits: apply it, set it aside, take it up again."""

import hashlib
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import QuerySet

from patients.compare_message import Choice, compare, ids_of
from patients.intake import overtake, reread, source_of, step_of
from patients.models import IntakeMessage, IntakeStep, Step
from patients.rules.intake import Fate, Judged
from patients.rules.message_reading import Doubt, Reading
from patients.rules.schedule_changes import Verdict
from patients.rules.schedule_rows import ScheduleRow
from patients.schedule_reading import say_of_sender, words_of_row
from patients.write_schedule import MEANWHILE, write

# A person has to say the date: the message does not say one alone.
DATE_NEEDED = frozenset({Doubt.DATES_DIFFER, Doubt.NO_DATE, Doubt.ZONE_UNCLEAR})


class CannotApply(Exception):
    """The message cannot be applied as the person said; `judged` says why."""

    def __init__(self, judged: Judged) -> None:
        super().__init__("the message cannot be applied")
        self.judged = judged


class SettledMeanwhile(Exception):
    """Somebody settled the message, or the record changed, since the page was shown."""


@dataclass(frozen=True)
class Look:
    """A message beside the record as it is now. `shown` changes when either does."""

    message: IntakeMessage
    step: IntakeStep
    reading: Reading
    judged: Judged
    shown: str

    @property
    def needs_date(self) -> bool:
        """Whether a person has to say the date."""
        said = {noted.what for noted in self.judged.doubts}
        return bool(DATE_NEEDED & said) and not self.reading.event.ends

    @property
    def may_apply(self) -> bool:
        """Whether it can be applied at all, perhaps after a choice."""
        return self.step.step == Step.WAITS and _may_apply(self.judged)


def look(message: IntakeMessage, *, at: datetime, choice: Choice | None = None) -> Look:
    """Read a kept message again and compare it with the record as it is now."""
    step = IntakeStep.objects.in_force().select_related("by").get(message=message)
    reading = reread(message, at=at)
    judged = compare(reading, at=at, choice=choice)
    proposal = judged.proposal
    facts = (step.pk, judged.fate, proposal and (proposal.patient, proposal.operation))
    shown = hashlib.sha256(repr(facts).encode("utf-8", "backslashreplace")).hexdigest()[:16]
    return Look(message, step, reading, judged, shown)


def apply_message(
    message: IntakeMessage,
    *,
    shown: str,
    at: datetime,
    by_id: int,
    choice: Choice,
    note: str = "",
    remember: bool = False,
) -> IntakeStep:
    """Apply a message that waits, by a person's choice, on the page that they saw (promise S4).

    Raises SettledMeanwhile and CannotApply; then nothing is written.
    """
    try:
        with transaction.atomic():
            step, seen = _apply(message, shown=shown, at=at, by_id=by_id, choice=choice, note=note)
            if remember and choice.procedure_id:
                _say(seen, choice.procedure_id, at=at, by_id=by_id)
        return step
    except MEANWHILE as error:
        raise SettledMeanwhile from error


def _apply(
    message: IntakeMessage, *, shown: str, at: datetime, by_id: int, choice: Choice, note: str
) -> tuple[IntakeStep, Look]:
    waits = _held(message)
    seen = look(message, at=at)
    if waits.step != Step.WAITS or seen.shown != shown:
        raise SettledMeanwhile
    if seen.needs_date and choice.or_date is None:
        raise CannotApply(seen.judged)
    judged = compare(seen.reading, at=at, choice=choice) if choice != Choice() else seen.judged
    proposal = judged.proposal
    if not _may_apply(judged) or proposal is None or proposal.verdict == Verdict.REJECTED:
        raise CannotApply(judged)
    taken = Step.UNCHANGED if proposal.verdict == Verdict.UNCHANGED else Step.APPLIED
    written = write([proposal], at=at, source=source_of(seen.reading), by_id=by_id)
    ids = written.get(proposal.line) or ids_of(proposal)
    step = step_of(
        message, taken, seen.reading, judged, ids, at=at, ends=waits, by_id=by_id, note=note
    )
    step.save()
    overtake([message], at=at)
    return step, seen


def _say(seen: Look, meaning: int | None, *, at: datetime, by_id: int) -> None:
    """Remember what the message's name of the procedure means, for its sender's later messages."""
    row = seen.reading.row
    words = words_of_row(row) if isinstance(row, ScheduleRow) else ()
    if words:
        meant = dict.fromkeys(words, meaning)
        say_of_sender(seen.reading.format, seen.reading.sender, words=meant, at=at, by_id=by_id)


def set_aside(
    message: IntakeMessage,
    *,
    shown_step: int,
    reason: str,
    at: datetime,
    by_id: int,
    not_ours: bool = False,
) -> IntakeStep:
    """Set a message that waits aside, with the reason. Raises SettledMeanwhile.

    `not_ours`: so are later messages of its sender that name the same procedure.
    """
    with transaction.atomic():
        step = _follow(message, Step.WAITS, Step.SET_ASIDE, shown_step, reason, at, by_id)
        if not_ours:
            _say(look(message, at=at), None, at=at, by_id=by_id)
    return step


def take_up(message: IntakeMessage, *, shown_step: int, at: datetime, by_id: int) -> IntakeStep:
    """Let a message that was set aside wait again. Raises SettledMeanwhile."""
    return _follow(message, Step.SET_ASIDE, Step.WAITS, shown_step, "", at, by_id)


def waiting() -> QuerySet[IntakeStep]:
    """Return what waits, the oldest first."""
    return (
        IntakeStep.objects.waiting()
        .select_related("message", "patient", "operation")
        .order_by("message__received_at", "message_id")
    )


def _follow(
    message: IntakeMessage,
    before: Step,
    after: Step,
    shown_step: int,
    note: str,
    at: datetime,
    by_id: int,
) -> IntakeStep:
    with transaction.atomic():
        latest = _held(message)
        if latest.step != before or latest.pk != shown_step:
            raise SettledMeanwhile
        return IntakeStep.objects.create(
            message=message,
            step=after,
            ends=latest,
            reasons=latest.reasons,
            note=note,
            patient_id=latest.patient_id,
            operation_id=latest.operation_id,
            recorded_at=at,
            by_id=by_id,
        )


def _held(message: IntakeMessage) -> IntakeStep:
    """Lock the message, so that one person settles it, and return its latest step."""
    held = IntakeMessage.objects.select_for_update().get(pk=message.pk)
    return IntakeStep.objects.in_force().get(message=held)


def _may_apply(judged: Judged) -> bool:
    if judged.fate in (Fate.OVERTAKEN, Fate.REFUSED):
        return False
    return all(noted.what != Doubt.DID_NOT_COME for noted in judged.doubts)
