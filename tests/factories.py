"""Records for tests, made the way the product makes them: through the acts.

Nothing here writes a row itself, so that a test never sees a record that could not exist.
"""

import uuid
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.test import Client
from factory.base import DictFactory
from factory.declarations import Sequence

from clinic.models import Role, StaffUser
from education import stage_tables
from education.answer import answer
from education.answers_in_words import right_answer
from education.ask import ask
from education.assign import in_force, require
from education.drawn import asked_of, every_version
from education.eating_record import TypedFacts, record_facts
from education.invite import Refusal, invite
from education.models import (
    AnswerLink,
    Assignment,
    Edition,
    Invitation,
    Module,
    PatientQuestion,
    PlanLink,
    Question,
    QuestionAnswer,
    Submission,
)
from education.personal_link import issue_token
from education.plan_link import PlanRefusal, send_plan
from education.publish import publish
from education.rules.asking import About, Means
from education.rules.may_give import Medicine
from education.rules.module_text import ModuleText, read_module
from education.rules.scoring import Given, Kind
from education.take import begin, save_answer, submit
from education.teach_back import points_of
from patients import programme
from patients.clock import now
from patients.models import Operation, Patient, Procedure, Programme
from patients.register import enrol
from patients.schedule import book

STARTER = Path(__file__).resolve().parent.parent / "education" / "starter"
# Short modules with one version of each question, for tests of what happens to a quiz: what the
# starter modules say may change without them.
PLAIN = Path(__file__).resolve().parent / "plain_modules"
BEFORE = "before_your_operation.toml"
PASSWORD = "a-long-walk-to-larkfield"


def numbered(make: Callable[[int], str]) -> Any:
    """Return a fact that is another one for each record."""
    return Sequence(make)  # type: ignore[no-untyped-call]  # factory-boy is typed in part only


def drawn(facts: type[DictFactory], **given: Any) -> dict[str, Any]:
    """Return the facts of one record; those given stand in place of invented ones."""
    record: dict[str, Any] = facts.build(**given)
    return record


def numbered_day(first: date) -> Any:
    """Return another day for each record, months apart, so that nobody is a twin by chance."""
    return Sequence(lambda n: first + timedelta(days=97 * (n % 200)))  # type: ignore[no-untyped-call]


ZONE = "America/Chicago"  # the programme's, where a test says nothing else


class ProgrammeFacts(DictFactory):
    name = "Larkfield Programme"
    time_zone = ZONE
    phone = "(312) 555-0142"
    emergency_number = "911"


class PatientFacts(DictFactory):
    mrn = numbered(lambda n: f"MRN-{n:06}")
    given_names = numbered(lambda n: f"Given{n}")
    family_names = numbered(lambda n: f"Family{n}")
    birth_date = numbered_day(date(1948, 2, 11))
    email = numbered(lambda n: f"reader{n}@example.org")
    phone = numbered(lambda n: f"312555{n:04}")


class OperationFacts(DictFactory):
    case_number = numbered(lambda n: f"CASE-{n:06}")
    surgeon = "Dr. Ottoline Brask"
    facility = "Larkfield East"


def days_ago(days: int) -> datetime:
    """The time that it is now, so many local days ago: the clocks may have changed since."""
    local = now().astimezone(ZoneInfo(ZONE))
    return (local - timedelta(days=days)).astimezone(UTC)


def a_programme(*, at: datetime | None = None, **facts: Any) -> Programme:
    """Return the programme in force, founded if there is none; with facts, founded anew."""
    try:
        if not facts:
            return programme.current()
    except programme.NotFounded:
        pass
    return programme.found(**drawn(ProgrammeFacts, **facts), at=at or now())


def a_patient(*, at: datetime | None = None, **facts: Any) -> Patient:
    """Enrol a patient."""
    a_programme(at=at)
    return enrol(**drawn(PatientFacts, **facts), at=at or now())


def a_procedure(code: str = "SLV", name: str = "Sleeve gastrectomy") -> Procedure:
    """Return a procedure; there is no act for it, schedules bring their own."""
    procedure, _ = Procedure.objects.get_or_create(code=code, defaults={"name": name})
    return procedure


def an_operation(
    *,
    patient: Patient | None = None,
    procedure: Procedure | None = None,
    days_ahead: int | None = 20,
    at: datetime | None = None,
    **facts: Any,
) -> Operation:
    """Book an operation, `days_ahead` of the programme's today; None leaves it without a date."""
    at = at or now()
    patient = patient or a_patient(at=at)
    if days_ahead is not None:
        facts.setdefault("or_date", programme.local_day(at) + timedelta(days=days_ahead))
    return book(
        patient=patient,
        procedure=procedure or a_procedure(),
        at=at,
        **drawn(OperationFacts, **facts),
    )


def an_edition(
    text: str | None = None, *, at: datetime | None = None, earlier_clearances_count: bool = True
) -> Edition:
    """Publish an edition of a plain module, or of the module in `text` (TOML)."""
    text = text if text is not None else (PLAIN / BEFORE).read_text()
    return publish(
        _read_once(text), at=at or now(), earlier_clearances_count=earlier_clearances_count
    )


@cache
def _read_once(text: str) -> ModuleText:
    return read_module(text)


def an_assignment(
    *,
    operation: Operation | None = None,
    module: Module | None = None,
    opens_days: int = -60,
    clear_by_days: int = -7,
    at: datetime | None = None,
) -> Assignment:
    """Require a module for an operation's procedure, and return the assignment that follows."""
    at = at or now()
    operation = operation or an_operation(at=at)
    procedure = operation.procedure
    module = module or Module.objects.first() or an_edition(at=at).module
    days = (opens_days, clear_by_days)
    if all(
        (r.module, r.opens_days, r.clear_by_days) != (module, *days) for r in in_force(procedure)
    ):
        require(procedure, module, opens_days=opens_days, clear_by_days=clear_by_days, at=at)
    return Assignment.objects.get(operation=operation, module=module)


def an_invitation(
    *, assignment: Assignment | None = None, at: datetime | None = None
) -> tuple[Invitation, str]:
    """Invite a patient, and issue the token as sending the email does."""
    at = at or now()
    invitation = invite(assignment or an_assignment(at=at), at=at)
    assert not isinstance(invitation, Refusal), invitation
    return invitation, issue_token(invitation, at=at)


def a_plan_link(operation: Operation, *, at: datetime | None = None) -> tuple[PlanLink, str]:
    """Send the link to an eating plan, everything asked and nothing taken, and issue its token."""
    at = at or now()
    dietitian = a_member(Role.DIETITIAN)
    if stage_tables.current() is None:
        stage_tables.found(at=at)
    said: dict[Medicine, bool | None] = dict.fromkeys(Medicine, False)
    asked = TypedFacts("", None, "", None, None, said)
    record_facts(operation.patient, asked, at=at, by_id=dietitian.pk)
    link = send_plan(operation, at=at, by_id=dietitian.pk)
    assert not isinstance(link, PlanRefusal), link
    return link, issue_token(link, at=at)


def a_question(invitation: Invitation, *, at: datetime | None = None) -> PatientQuestion:
    """Ask a question about the first section of the module behind a link."""
    edition = invitation.assignment.module.editions.order_by("-number")[0]
    asked = ask(
        invitation,
        edition,
        about=About.SECTION,
        part=edition.sections.all()[0].key,
        language="en",
        typed="May I take my evening walk?",
        key=uuid.uuid4(),
        at=at or now(),
    )
    assert isinstance(asked, PatientQuestion), asked
    return asked


def an_answer(question: PatientQuestion, *, at: datetime | None = None) -> tuple[AnswerLink, str]:
    """Answer a question by email, and issue the token as sending the email does."""
    at = at or now()
    given = answer(
        question, Means.EMAIL, "Yes, walk.", seen=0, at=at, by_id=a_member(Role.DIETITIAN).pk
    )
    assert isinstance(given, QuestionAnswer), given
    return given.link, issue_token(given.link, at=at)


def right_answers(edition: Edition) -> dict[int, Given]:
    """Return the right answer of each question, by question id."""
    return {question.pk: right_answer(question) for question in every_version(edition)}


def a_wrong_answer(question: Question) -> Given:
    """Return an answer that is wrong and could have been given: an option, or a number far off."""
    if question.number is not None:
        return Given(number=question.number + 100)
    options = [option.pk for option in question.options.all()]
    if question.kind == Kind.ORDER:
        return Given(order=tuple(reversed(options)))
    if question.kind == Kind.MATCH:
        return Given(pairs=frozenset(zip(options, options[1:] + options[:1], strict=True)))
    wrong = [option.pk for option in question.options.all() if not option.right]
    return Given(options=frozenset(wrong[:1]))


def a_submission(
    invitation: Invitation,
    *,
    wrong: int = 0,
    at: datetime | None = None,
    given_names: str | None = None,
    family_names: str | None = None,
    birth_date: date | None = None,
) -> Submission:
    """Take the quiz behind a link: all right but the last `wrong` answers.

    Typed is the patient's own name and date of birth, unless another is given.
    """
    at = at or now()
    patient = invitation.assignment.operation.patient
    attempt = begin(invitation, at=at)
    questions = asked_of(attempt)
    answers = right_answers(attempt.edition)
    for place, question in enumerate(questions, start=1):
        answer = answers[question.pk]
        if place > len(questions) - wrong:
            answer = a_wrong_answer(question)
        save_answer(attempt, question, answer, at=at)
    return submit(
        attempt,
        given_names=patient.given_names if given_names is None else given_names,
        family_names=patient.family_names if family_names is None else family_names,
        birth_date=birth_date or patient.birth_date,
        language="en",
        at=at,
    )


def all_understood(assignment: Assignment) -> dict[str, str]:
    """Return what is typed on a call sheet when the patient understood every point."""
    typed = {"outcome": "understood", "means": "call"}
    for point in points_of(assignment):
        key = point.question.key
        typed |= {f"said-{key}": "In their own words.", f"understood-{key}": "yes"}
    return typed


def a_member(role: str, *, name: str = "", email: str = "") -> StaffUser:
    """Give somebody an account; the password is PASSWORD."""
    number = StaffUser.objects.count() + 1
    return StaffUser.objects.create_user(
        email or f"{role}{number}@larkfield.example", name or f"{role} {number}", role, PASSWORD
    )


def signed_in(who: StaffUser | str) -> Client:
    """Return a browser in which a member of staff, or a new one of that role, is signed in."""
    member = who if isinstance(who, StaffUser) else a_member(who)
    client = Client()
    client.force_login(member, backend="django.contrib.auth.backends.ModelBackend")
    return client
