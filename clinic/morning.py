"""Read the morning list: who needs the dietitian today, why, and what next.

The number of queries depends neither on the number of rows nor on the filters.
"""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import (
    Case,
    CharField,
    Count,
    Exists,
    F,
    Min,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
    When,
    Window,
)
from django.db.models.fields.json import KT

from clinic.digests_missed import digests_missed
from clinic.models import StaffUser
from clinic.reach import Reached, reached
from clinic.ruler import Ruler, Span, around, ruler
from clinic.second_opinions import first_clinicians
from clinic.words import why
from education import mail_hold
from education.models import (
    Assignment,
    AssignmentQuerySet,
    Edition,
    Message,
    MessageState,
    PatientQuestion,
    Submission,
)
from education.rules.next_step import NextStep, next_step
from education.rules.standing import Standing
from education.standings import Told, standings
from patients import programme
from patients.clock import local_date
from patients.models import Contact, Operation, Outcome, Patient, Procedure, Programme, latest_first
from patients.search_words import fits

ROWS = 50
SOON = timedelta(days=7)


@dataclass(frozen=True)
class Asked:
    """What the list was asked for. Without a standing: those who need the dietitian."""

    text: str = ""
    standing: Standing | None = None
    every_standing: bool = False
    mail_failed: bool = False
    module: int | None = None
    procedure: int | None = None
    week_of: date | None = None
    page: int = 1

    @property
    def narrowed(self) -> bool:
        """Anything beyond the plain list."""
        return self != Asked(page=self.page)


@dataclass(frozen=True)
class LastContact:
    """The latest attempt to reach the patient; `next_on` is when to try again."""

    on: date
    outcome: str
    next_on: date | None


@dataclass(frozen=True)
class Row:
    """One assignment on the list, with everything that its row says.

    `first_clinician` accepted what waits for a second one; None: nothing waits.
    """

    told: Told
    module: str
    why: list[str]
    reached: Reached
    step: NextStep
    ruler: Ruler | None
    contact: LastContact | None
    first_clinician: StaffUser | None

    @property
    def assignment(self) -> Assignment:
        return self.told.assignment

    @property
    def operation(self) -> Operation:
        return self.told.assignment.operation

    @property
    def patient(self) -> Patient:
        return self.told.assignment.operation.patient


@dataclass(frozen=True)
class Choices:
    """The modules and procedures to filter by: ids with what people call them."""

    modules: dict[int, str]
    procedures: dict[int, str]


@dataclass(frozen=True)
class Morning:
    """The list as it stood at an instant. `standings` and `other` are counts."""

    at: datetime
    on: date
    programme: Programme
    asked: Asked
    standings: dict[Standing, int]
    other: dict[str, int]
    choices: Choices
    rows: list[Row]
    matching: int
    span: Span
    next_due_on: date | None

    @property
    def flagged(self) -> int:
        flagged = (Standing.LATE, Standing.DUE, Standing.NEEDS_SIGN_OFF)
        return sum(self.standings[s] for s in flagged)

    @property
    def required(self) -> int:
        """All open assignments, whatever their standing."""
        return sum(self.standings.values())

    @property
    def pages(self) -> int:
        return max(1, -(-self.matching // ROWS))


def read(asked: Asked, *, at: datetime, member_id: int | None = None) -> Morning:
    """Read one page of the list. Raises DatabaseError when any of it cannot be read.

    `member_id`: who looks, and is told of digests that were not sent.
    """
    settings = programme.current()
    on = local_date(at, settings.zone)
    counts = Assignment.objects.wanting_attention(on=on).counts(
        on=on, notice_days=settings.notice_days
    )
    choices = _choices()
    span = around(on)
    found = list(_page(asked, on=on, notice_days=settings.notice_days))
    told = standings(found, on=on, settings=settings) if found else []
    firsts = first_clinicians(told)
    return Morning(
        at=at,
        on=on,
        programme=settings,
        asked=asked,
        standings=counts,
        other=_other_counts(on=on, notice_days=settings.notice_days, member_id=member_id),
        choices=choices,
        rows=[_row(t, choices, firsts, at=at, on=on, settings=settings, span=span) for t in told],
        matching=getattr(found[0], "matching", 0) if found else 0,
        span=span,
        next_due_on=None if found else _next_due_on(on=on, settings=settings),
    )


def _page(asked: Asked, *, on: date, notice_days: int) -> QuerySet[Assignment]:
    """The assignments of one page, the most urgent first: by the date that decides.

    Before the operation that is the OR date, afterwards the clear-by date.
    """
    decides = Case(
        When(due_before_operation=True, then=F("operation__or_date")), default=F("clear_by")
    )
    whose = OuterRef(OuterRef("operation__patient"))
    records = Patient.objects.filter(Q(pk=whose) | Q(merged_into=whose))
    contact = Contact.objects.filter(patient__in=records.values("pk")).order_by(*latest_first())
    reminder = Message.objects.filter(
        reminds__assignment=OuterRef("pk"), reminds__end__isnull=True
    ).order_by(*latest_first())
    first = (asked.page - 1) * ROWS
    return (
        _narrowed(asked, on=on, notice_days=notice_days)
        .select_related("operation__patient", "operation__procedure", "module")
        .annotate(
            matching=Window(Count("pk")),
            reminder_state=Subquery(reminder.values("state")[:1]),
            contact_at=Subquery(contact.values("recorded_at")[:1]),
            contact_outcome=Subquery(contact.values("outcome")[:1]),
            contact_next_on=Subquery(contact.values("next_on")[:1]),
        )
        .order_by(decides.asc(nulls_last=True), F("clear_by").asc(nulls_last=True), "id")[
            first : first + ROWS
        ]
    )


def _narrowed(asked: Asked, *, on: date, notice_days: int) -> AssignmentQuerySet:
    rows = _of_standing(asked, on=on, notice_days=notice_days)
    if asked.module:
        rows = rows.filter(module=asked.module)
    if asked.procedure:
        rows = rows.filter(operation__procedure=asked.procedure)
    if asked.week_of:
        monday = asked.week_of - timedelta(days=asked.week_of.weekday())
        rows = rows.filter(operation__or_date__range=(monday, monday + timedelta(days=6)))
    if asked.text:
        rows = rows.filter(fits(asked.text, patient="operation__patient"))
    return rows


def _of_standing(asked: Asked, *, on: date, notice_days: int) -> AssignmentQuerySet:
    wanting = Assignment.objects.wanting_attention(on=on)
    if asked.mail_failed:
        return with_failed_mail(on=on)
    if asked.every_standing:
        return wanting
    match asked.standing:
        case Standing.CLEARED:
            return wanting.cleared()
        case Standing.NEEDS_SIGN_OFF:
            return wanting.needs_sign_off()
        case Standing.LATE:
            return wanting.late(on=on)
        case Standing.DUE:
            return wanting.due(on=on, notice_days=notice_days)
        case Standing.NOT_DUE:
            return wanting.not_due(on=on, notice_days=notice_days)
    return wanting.flagged(on=on, notice_days=notice_days)


def with_failed_mail(*, on: date) -> AssignmentQuerySet:
    """Assignments not cleared whose latest email failed, at the address still on file."""
    failed = Message.objects.filter(
        state=MessageState.FAILED, address__iexact=OuterRef("operation__patient__email")
    )
    sent = failed.filter(invitation__end__isnull=True, invitation__assignment=OuterRef("pk"))
    reminded = failed.filter(reminds__end__isnull=True, reminds__assignment=OuterRef("pk"))
    return (
        Assignment.objects.wanting_attention(on=on)
        .filter(Exists(sent) | Exists(reminded))
        .exclude(pk__in=Assignment.objects.cleared().values("pk"))
    )


def _other_counts(*, on: date, notice_days: int, member_id: int | None) -> dict[str, int]:
    """Everything else that is counted on the page, in one query."""
    flagged = Assignment.objects.wanting_attention(on=on).flagged(on=on, notice_days=notice_days)
    soon = flagged.filter(operation__or_date__range=(on, on + SOON))
    no_module = Operation.objects.upcoming(on=on).exclude(assignments__closed=False)
    counts = [
        _count("people", flagged, "operation__patient"),
        _count("operations_soon", soon, "operation"),
        _count("undecided", Submission.objects.undecided()),
        _count("questions", PatientQuestion.objects.waiting()),
        _count("date_passed", Operation.objects.date_passed(on=on)),
        _count("mail_failed", with_failed_mail(on=on)),
        _count("nothing_required", no_module),
        _count("enrolled", Patient.objects.on_the_register()),
        _count("mail_held", mail_hold.on()),
        _count("digests_missed", digests_missed(member_id, on=on)),
    ]
    return dict(counts[0].union(*counts[1:], all=True))


def _count(what: str, rows: QuerySet[Any], of: str = "pk") -> QuerySet[Any, tuple[str, int]]:
    """One row: the name of a count and the count; no row where there is nothing."""
    counted: QuerySet[Any, tuple[str, int]] = (
        rows.order_by()
        .values(what=Value(what, output_field=CharField()))
        .annotate(how_many=Count(of, distinct=True))
        .values_list("what", "how_many")
    )
    return counted


def _choices() -> Choices:
    """The titles of the modules and procedures, in one query."""
    later = Edition.objects.filter(module=OuterRef("module"), number__gt=OuterRef("number"))
    editions = Edition.objects.filter(~Exists(later)).order_by()
    modules = editions.values_list(Value("module"), "module_id", KT("title__en"))
    procedures = Procedure.objects.order_by().values_list(Value("procedure"), "id", "name")
    named = sorted(modules.union(procedures, all=True), key=lambda row: row[2])
    return Choices(
        {pk: name for kind, pk, name in named if kind == "module"},
        {pk: name for kind, pk, name in named if kind == "procedure"},
    )


def _row(
    told: Told,
    choices: Choices,
    firsts: dict[int, StaffUser],
    *,
    at: datetime,
    on: date,
    settings: Programme,
    span: Span,
) -> Row:
    facts = told.facts
    reminder_state = getattr(told.assignment, "reminder_state", None)
    mail = reached(told, at=at, zone=settings.zone, reminder_state=reminder_state)
    return Row(
        told=told,
        module=choices.modules.get(told.assignment.module_id, told.assignment.module.code),
        why=why(told, mail),
        reached=mail,
        step=next_step(told.answer, mail.reach),
        ruler=ruler(
            on=on,
            span=span,
            or_date=facts.or_date,
            opens_on=facts.opens_on,
            clear_by=facts.clear_by,
            clearances=[c.cleared_on for c in facts.clearances],
        )
        if facts.or_date
        else None,
        contact=_last_contact(told.assignment, settings),
        first_clinician=firsts.get(told.assignment.pk),
    )


def _last_contact(assignment: Any, settings: Programme) -> LastContact | None:
    if assignment.contact_at is None:
        return None
    return LastContact(
        on=local_date(assignment.contact_at, settings.zone),
        outcome=Outcome(assignment.contact_outcome).label,
        next_on=assignment.contact_next_on,
    )


def _next_due_on(*, on: date, settings: Programme) -> date | None:
    """The first day on which somebody will need the dietitian, as things stand."""
    waiting = Assignment.objects.wanting_attention(on=on).not_due(
        on=on, notice_days=settings.notice_days
    )
    clear_by: date | None = waiting.aggregate(first=Min("clear_by"))["first"]
    return clear_by and clear_by - timedelta(days=settings.notice_days)
