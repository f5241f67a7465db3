"""What can happen to a patient in the demo; each is played through the act that really does it."""

import smtplib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import ClassVar, Protocol

from django.core.mail.backends.base import BaseEmailBackend
from django.core.mail.message import EmailMessage

from clinic.alarms import PURPOSES
from clinic.confirm import answer, confirm
from clinic.demo.people import BY_MRN
from clinic.demo.stage import (
    Stage,
    assignment,
    given,
    invitation,
    operation,
    patient,
    submission,
)
from clinic.models import Role
from education.by_email import ByEmail
from education.clear import sign_off, waive
from education.drawn import asked_of
from education.identify import match, undo
from education.invite import Refusal, invite
from education.models import Message, MessageState
from education.send import send
from education.take import begin, save_answer, submit
from patients.contact import log_contact
from patients.keep_apart import keep_apart
from patients.models import Booking, Means, Outcome
from patients.other_names import add
from patients.rules.identity import NameKind
from patients.schedule import change, move

BEFORE, AFTER = "before-operation", "first-weeks"


class Event(Protocol):
    """Something that happened `days_ago` days before the demo's day, at its usual hour."""

    hour: ClassVar[int]

    @property
    def days_ago(self) -> int: ...

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        """Let it happen to the patient with this MRN."""
        ...


class RefusingMailServer(BaseEmailBackend):
    """A mail server that will not have the text (reply code 554, RFC 5321 section 4.2.3)."""

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        """Refuse every text for good."""
        raise smtplib.SMTPDataError(554, b"transaction failed")


@dataclass(frozen=True)
class Invited:
    """The dietitian sent the link; `refused`: the mail server did not take the mail."""

    days_ago: int
    module: str = BEFORE
    refused: bool = False
    hour: ClassVar[int] = 8

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        invited = invite(assignment(mrn, self.module), at=at, by_id=stage.dietitian)
        if isinstance(invited, Refusal):
            raise ValueError(f"{mrn} cannot be invited to {self.module}: {invited}")
        message = Message.objects.get(invitation=invited)
        send(message.pk, at=at, channel=ByEmail(RefusingMailServer()) if self.refused else None)


@dataclass(frozen=True)
class Began:
    """The patient opened the link, answered some questions and stopped."""

    days_ago: int
    answers: int
    module: str = BEFORE
    hour: ClassVar[int] = 20

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        attempt = begin(invitation(mrn, self.module), at=at)
        for question in asked_of(attempt)[: self.answers]:
            save_answer(attempt, question, given(question, ()), at=at)


@dataclass(frozen=True)
class Typed:
    """The name and date of birth at the end of a quiz."""

    given_names: str
    family_names: str
    birth_date: date


@dataclass(frozen=True)
class Took:
    """The patient took the quiz; `wrong` names questions, `typed` who they said they were."""

    days_ago: int
    module: str = BEFORE
    wrong: tuple[str, ...] = ()
    typed: Typed | None = None
    hour: ClassVar[int] = 19

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        person = BY_MRN[mrn]
        attempt = begin(invitation(mrn, self.module), at=at)
        for question in asked_of(attempt):
            save_answer(attempt, question, given(question, self.wrong), at=at)
        who = self.typed or Typed(person.given, person.family, person.birth_date)
        submit(
            attempt,
            given_names=who.given_names,
            family_names=who.family_names,
            birth_date=who.birth_date,
            language=person.language,
            at=at,
        )


@dataclass(frozen=True)
class SignedOff:
    """The clinician accepted a clearance that came late."""

    days_ago: int
    reason: str
    hour: ClassVar[int] = 12

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        sign_off(assignment(mrn, BEFORE), reason=self.reason, at=at, by_id=stage.clinician)


@dataclass(frozen=True)
class Waived:
    """The clinician said that it can go ahead without."""

    days_ago: int
    reason: str
    hour: ClassVar[int] = 12

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        waive(assignment(mrn, BEFORE), reason=self.reason, at=at, by_id=stage.clinician)


@dataclass(frozen=True)
class Called:
    """The dietitian tried to reach the patient by telephone."""

    days_ago: int
    outcome: Outcome
    note: str = ""
    hour: ClassVar[int] = 10

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        log_contact(
            patient(mrn),
            means=Means.CALL,
            outcome=self.outcome,
            note=self.note,
            at=at,
            by_id=stage.dietitian,
        )


@dataclass(frozen=True)
class WasCalled:
    """The patient told the dietitian of an earlier name, which is kept as a former one."""

    days_ago: int
    given: str
    family: str
    source: str
    hour: ClassVar[int] = 10

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        add(
            patient(mrn),
            kind=NameKind.FORMER,
            given_names=self.given,
            family_names=self.family,
            at=at,
            by_id=stage.dietitian,
            source=self.source,
        )


@dataclass(frozen=True)
class SaidToBeTwo:
    """The dietitian said that this record and another one are two people's."""

    days_ago: int
    other: str
    note: str
    hour: ClassVar[int] = 10

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        keep_apart(patient(mrn), patient(self.other), note=self.note, at=at, by_id=stage.dietitian)


@dataclass(frozen=True)
class Matched:
    """The dietitian said whose the quiz was that came by this patient's link."""

    days_ago: int
    whose: str
    note: str
    hour: ClassVar[int] = 9

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        match(
            submission(mrn, BEFORE),
            patient(self.whose),
            at=at,
            by_id=stage.dietitian,
            note=self.note,
        )


@dataclass(frozen=True)
class Undone:
    """The dietitian took back whose the quiz was; who had confirmed on it is told by email."""

    days_ago: int
    reason: str
    hour: ClassVar[int] = 9

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        undo(submission(mrn, BEFORE), at=at, by_id=stage.dietitian, reason=self.reason)
        for told in Message.objects.filter(purpose__in=PURPOSES, state=MessageState.WAITING):
            send(told.pk, at=at)


@dataclass(frozen=True)
class Confirmed:
    """The coordinator confirmed the OR date; against a hold with the clinician's reason."""

    days_ago: int
    against_hold: str = ""
    hour: ClassVar[int] = 14

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        booked = operation(mrn)
        confirm(
            booked,
            seen=answer(booked, at=at).seen,
            at=at,
            by=stage.staff[Role.COORDINATOR],
            clinician=stage.staff[Role.CLINICIAN].name if self.against_hold else "",
            clinician_reason=self.against_hold,
        )


@dataclass(frozen=True)
class Postponed:
    """The coordinator took the date away; there is no new one yet."""

    days_ago: int
    reason: str
    hour: ClassVar[int] = 15

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        move(
            operation(mrn),
            None,
            at=at,
            reason=self.reason,
            source="by telephone",
            by_id=stage.id_of(Role.COORDINATOR),
        )


@dataclass(frozen=True)
class Rebooked:
    """The coordinator put the booking on hold, or cancelled it."""

    days_ago: int
    booking: Booking
    reason: str
    hour: ClassVar[int] = 15

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        change(
            operation(mrn),
            at=at,
            reason=self.reason,
            source="by telephone",
            by_id=stage.id_of(Role.COORDINATOR),
            booking=self.booking,
        )
