"""Read the morning list: who needs the dietitian today, why, and what next.

The number of queries depends neither on the number of rows nor on the filters.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache, partial
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import (
    CharField,
    Count,
    Exists,
    Min,
    OuterRef,
    QuerySet,
    Subquery,
    Value,
    Window,
)
from django.db.models.fields.json import KT

from clinic.bad_addresses import marked_addresses, with_marked_address
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
    ReceivedMail,
    Submission,
)
from education.models.assignments import calls_for_help, counts_in
from education.reaching import NOTHING_KNOWN, Help, Reaching, reaching
from education.rules.next_step import NextStep, next_step
from education.rules.standing import Standing
from education.standings import Told, standings
from patients import programme
from patients.clock import local_date
from patients.models import Contact, Operation, Outcome, Patient, Procedure, Programme, latest_first
from patients.prepared import Prepared
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
    escalated: bool = False
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
    escalation: Help | None
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
    zone = settings.zone
    counts = counts_in(_standings(on, settings.notice_days)())
    choices = _choices()
    span = around(on)
    found = _found(asked, on, settings.notice_days, zone)
    told = standings(found, on=on) if found else []
    firsts = first_clinicians(told)
    known = _reaching(found, zone=zone)
    return Morning(
        at=at,
        on=on,
        programme=settings,
        asked=asked,
        standings=counts,
        other=_other_counts(
            on=on, notice_days=settings.notice_days, zone=zone, member_id=member_id
        ),
        choices=choices,
        rows=[
            _row(t, choices, firsts, known, at=at, on=on, settings=settings, span=span)
            for t in told
        ],
        matching=getattr(found[0], "matching", 0) if found else 0,
        span=span,
        next_due_on=None if found else _next_due_on(on=on, settings=settings),
    )


# Django takes 30 to 60 ms to build each of these; of a day and a choice they are always the same.
# PostgreSQL plans them anew each time.
@lru_cache(maxsize=20)
def _standings(on: date, notice_days: int) -> Prepared[Any]:
    wanting = Assignment.objects.wanting_attention(on=on)
    return Prepared(lambda: wanting.counted(on=on, notice_days=notice_days), keep_plan=False)


@lru_cache(maxsize=100)
def _page_of(asked: Asked, on: date, notice_days: int, zone: ZoneInfo) -> Prepared[Assignment]:
    build = partial(_page, asked, on=on, notice_days=notice_days, zone=zone)
    return Prepared(build, keep_plan=False)


def _found(asked: Asked, on: date, notice_days: int, zone: ZoneInfo) -> list[Assignment]:
    """What is searched for is asked anew: names are not kept in memory."""
    if asked.text:
        return list(_page(asked, on=on, notice_days=notice_days, zone=zone))
    return _page_of(asked, on, notice_days, zone)()


def _page(asked: Asked, *, on: date, notice_days: int, zone: ZoneInfo) -> QuerySet[Assignment]:
    """The assignments of one page, by what can still be saved (education.rules.order_of_day)."""
    reminder = Message.objects.filter(
        reminds__assignment=OuterRef("pk"), reminds__end__isnull=True
    ).order_by(*latest_first())
    first = (asked.page - 1) * ROWS
    return (
        _narrowed(asked, on=on, notice_days=notice_days, zone=zone)
        .select_related("operation__patient", "operation__procedure", "module")
        .annotate(
            matching=Window(Count("pk")),
            reminder_state=Subquery(reminder.values("state")[:1]),
            helped_since=Subquery(calls_for_help().values("recorded_at")[:1]),
            helped_after=Subquery(calls_for_help().values("messages")[:1]),
            marked=Subquery(marked_addresses("operation__patient__email").values("why")[:1]),
        )
        .in_order_of_day(on=on)[first : first + ROWS]
    )


def _reaching(found: list[Any], *, zone: ZoneInfo) -> dict[int, Reaching]:
    """What is on record about reaching the patients of a page, in one query."""
    if not found:
        return {}
    helped = {
        row.operation.patient_id: Help(row.helped_since, row.helped_after)
        for row in found
        if row.helped_since
    }
    return reaching({row.operation.patient_id for row in found}, zone=zone, helped=helped)


def _narrowed(asked: Asked, *, on: date, notice_days: int, zone: ZoneInfo) -> AssignmentQuerySet:
    rows = _of_standing(asked, on=on, notice_days=notice_days, zone=zone)
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


def _of_standing(asked: Asked, *, on: date, notice_days: int, zone: ZoneInfo) -> AssignmentQuerySet:
    wanting = Assignment.objects.wanting_attention(on=on)
    if asked.mail_failed:
        return with_failed_mail(on=on)
    if asked.escalated:
        return _escalated(wanting)
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
    return wanting.needing_a_person(on=on, notice_days=notice_days, zone=zone)


def _escalated(wanting: AssignmentQuerySet) -> AssignmentQuerySet:
    """Those not cleared whose patient the surgeon's office is asked to help reach."""
    return wanting.filter(Exists(calls_for_help())).exclude(
        pk__in=Assignment.objects.cleared().values("pk")
    )


def with_failed_mail(*, on: date) -> AssignmentQuerySet:
    """Assignments not cleared whose latest email failed, at the address still on file, or to whose
    address nothing more goes.
    """
    failed = Message.objects.filter(
        state=MessageState.FAILED, address__iexact=OuterRef("operation__patient__email")
    )
    sent = failed.filter(invitation__end__isnull=True, invitation__assignment=OuterRef("pk"))
    reminded = failed.filter(reminds__end__isnull=True, reminds__assignment=OuterRef("pk"))
    return (
        Assignment.objects.wanting_attention(on=on)
        .filter(
            Exists(sent) | Exists(reminded) | Exists(marked_addresses("operation__patient__email"))
        )
        .exclude(pk__in=Assignment.objects.cleared().values("pk"))
    )


def _other_counts(
    *, on: date, notice_days: int, zone: ZoneInfo, member_id: int | None
) -> dict[str, int]:
    """Everything else that is counted on the page, in one query."""
    return dict(_counted(on, notice_days, zone, member_id)())


# As above: the day, whose programme it is and who looks decide all of it.
@lru_cache(maxsize=100)
def _counted(
    on: date, notice_days: int, zone: ZoneInfo, member_id: int | None
) -> Prepared[tuple[str, int]]:
    return Prepared(
        partial(_counts, on=on, notice_days=notice_days, zone=zone, member_id=member_id),
        keep_plan=False,
    )


def _counts(
    *, on: date, notice_days: int, zone: ZoneInfo, member_id: int | None
) -> QuerySet[Any, tuple[str, int]]:
    wanting = Assignment.objects.wanting_attention(on=on)
    needing = wanting.needing_a_person(on=on, notice_days=notice_days, zone=zone)
    soon = needing.filter(operation__or_date__range=(on, on + SOON))
    no_module = Operation.objects.upcoming(on=on).exclude(assignments__closed=False)
    counts = [
        _count("people", needing, "operation__patient"),
        _count("operations_soon", soon, "operation"),
        _count("undecided", Submission.objects.undecided()),
        _count("questions", PatientQuestion.objects.waiting()),
        _count("date_passed", Operation.objects.date_passed(on=on)),
        _count("mail_failed", with_failed_mail(on=on)),
        _count("escalated", _escalated(wanting), "operation__patient"),
        _count("nothing_required", no_module),
        _count("enrolled", Patient.objects.on_the_register()),
        _count("mail_held", mail_hold.on()),
        _count("bad_addresses", with_marked_address(on=on)),
        _count("wrote_back", ReceivedMail.objects.to_look_at()),
        _count("digests_missed", digests_missed(member_id, on=on)),
    ]
    return counts[0].union(*counts[1:], all=True)


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
    known: Mapping[int, Reaching],
    *,
    at: datetime,
    on: date,
    settings: Programme,
    span: Span,
) -> Row:
    facts = told.facts
    reminder_state = getattr(told.assignment, "reminder_state", None)
    of = known.get(told.assignment.operation.patient_id, NOTHING_KNOWN)
    mail = reached(
        told,
        at=at,
        zone=settings.zone,
        reminder_state=reminder_state,
        known=of,
        marked=getattr(told.assignment, "marked", None),
    )
    return Row(
        told=told,
        module=choices.modules.get(told.assignment.module_id, told.assignment.module.code),
        why=why(told, mail),
        reached=mail,
        step=next_step(told.answer, mail.reach, on=on),
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
        contact=_last_contact(of.latest, settings),
        escalation=of.escalation,
        first_clinician=firsts.get(told.assignment.pk),
    )


def _last_contact(contact: Contact | None, settings: Programme) -> LastContact | None:
    if contact is None:
        return None
    return LastContact(
        on=local_date(contact.at, settings.zone),
        outcome=Outcome(contact.outcome).label,
        next_on=contact.next_on,
    )


def _next_due_on(*, on: date, settings: Programme) -> date | None:
    """The first day on which somebody will need the dietitian, as things stand."""
    waiting = Assignment.objects.wanting_attention(on=on).not_due(
        on=on, notice_days=settings.notice_days
    )
    clear_by: date | None = waiting.aggregate(first=Min("clear_by"))["first"]
    return clear_by and clear_by - timedelta(days=settings.notice_days)
