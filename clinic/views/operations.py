"""The coordinator's pages: which OR dates may be confirmed, and why or why not."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.dateparse import parse_date
from django.views.decorators.http import require_safe

from clinic import answer_words, words
from clinic.access import member
from clinic.cannot_tell import or_cannot_tell
from clinic.confirm import OperationAnswer, answer, answers
from clinic.forms.operations import EARLIEST, LATEST, AgainstHoldForm, BookingForm
from clinic.models import Confirmation, Role, StaffUser
from clinic.search import Found, find_operations
from clinic.unsettled import (
    CannotTell,
    Unsettled,
    accepted,
    holds,
    latest_confirmations,
    unsettled,
)
from education.rules.confirm import HoldReason, Word
from education.rules.standing import Standing
from education.standings import Told
from education.titles import titles
from patients import programme
from patients.clock import local_date, now
from patients.models import Booking, Operation, OperationChange, OperationQuerySet
from patients.open_to import open_to
from patients.rules.bookings import may_follow

PAGE = 50
MAY_LOOK = (Role.DIETITIAN, Role.CLINICIAN, Role.COORDINATOR, Role.ADMINISTRATOR, Role.AUDITOR)
MAY_DECIDE = (Role.COORDINATOR, Role.CLINICIAN)
WITHOUT_DATE, PASSED = "without-date", "passed"


@dataclass(frozen=True)
class Line:
    """One module that the operation needs, as the page shows it."""

    title: str
    told: Told
    standing: str
    why: str
    holding: bool


@dataclass(frozen=True)
class Row:
    """One operation with its answer, as the pages show it."""

    given: OperationAnswer
    lines: tuple[Line, ...]
    confirmation: Confirmation | None

    @property
    def operation(self) -> Operation:
        """The operation itself."""
        return self.given.operation

    @property
    def word(self) -> str:
        """The one word."""
        return answer_words.WORDS[self.given.verdict.word]

    @property
    def booking(self) -> str:
        """The booking in words."""
        return words.BOOKING[Booking(self.operation.booking)]

    @property
    def holding(self) -> list[Line]:
        """The modules that stand against confirming."""
        return [line for line in self.lines if line.holding]

    @property
    def before(self) -> list[Line]:
        """The modules that the answer rests on."""
        return [line for line in self.lines if line.told.assignment.due_before_operation]

    @property
    def afterwards(self) -> list[Line]:
        """The modules that are due only after the operation."""
        return [line for line in self.lines if not line.told.assignment.due_before_operation]

    @property
    def reasons(self) -> list[str]:
        """Why it holds, apart from the modules."""
        return [
            answer_words.HOLD_REASONS[reason]
            for reason in self.given.verdict.reasons
            if reason != HoldReason.NOT_CLEARED
        ]

    @property
    def against_hold(self) -> bool:
        """Whether it stands confirmed although the answer was hold."""
        confirmed = self.operation.booking == Booking.CONFIRMED and self.confirmation
        return bool(
            confirmed and confirmed.against_hold and confirmed.or_date == self.operation.or_date
        )

    @property
    def stands(self) -> bool:
        """Whether this very date is confirmed, with nothing new against it."""
        return (
            self.operation.booking == Booking.CONFIRMED
            and self.confirmation is not None
            and self.confirmation.or_date == self.operation.or_date
            and holds(self.given) <= accepted(self.confirmation)
        )


@dataclass(frozen=True)
class UnsettledRow:
    """What changed under a confirmation, with the row that shows what it is now."""

    change: str
    row: Row


def rows_of(given: list[OperationAnswer]) -> list[Row]:
    """Make the answers ready to be shown; two queries, however many there are."""
    confirmations = latest_confirmations([one.operation for one in given])
    names = titles(told.assignment.module_id for one in given for told in one.told)
    return [
        Row(
            one,
            tuple(_line(told, names, one) for told in one.told),
            confirmations.get(one.operation.pk),
        )
        for one in given
    ]


def _line(told: Told, names: dict[int, str], given: OperationAnswer) -> Line:
    return Line(
        title=names.get(told.assignment.module_id, told.assignment.module.code),
        told=told,
        standing=words.STANDING[Standing(told.answer.standing)],
        why=answer_words.reasons(told.answer),
        holding=told.assignment.pk in given.verdict.holding,
    )


@open_to(*MAY_LOOK)
@or_cannot_tell
@require_safe
def operations(request: HttpRequest) -> HttpResponse:
    """Operations of a week, or found by a search; above them what changed when confirmed."""
    at = now()
    zone = programme.current().zone
    on = local_date(at, zone)
    asked = request.GET.get("q", "").strip()
    show = request.GET.get("show", "")
    monday = _monday(request.GET.get("week", ""), on)
    found: Found | None = None
    pages = None
    if asked:
        found = find_operations(asked)
        listed = found.operations
    elif show in (WITHOUT_DATE, PASSED):
        pages = Paginator(_listed(show, on), PAGE).get_page(request.GET.get("page"))
        listed = list(pages.object_list)
    else:
        show = ""
        days = Operation.objects.filter(or_date__gte=monday, or_date__lt=monday + timedelta(7))
        listed = list(_with_patient(days))
    context: dict[str, Any] = {
        "rows": _rows(listed, at=at),
        "unsettled": _unsettled_rows(unsettled(at=at)),
        "found": found,
        "asked": asked,
        "show": show,
        "pages": pages,
        "without_date": _listed(WITHOUT_DATE, on).count(),
        "passed": _listed(PASSED, on).count(),
        "any": Operation.objects.exists(),
        **_week(monday, on),
        **_asked(at, zone, on),
    }
    return render(request, "clinic/operations.html", context)


@open_to(*MAY_LOOK)
@or_cannot_tell
@require_safe
def operation(request: HttpRequest, operation_id: int) -> HttpResponse:
    """One operation: the one clear answer first."""
    found = get_object_or_404(Operation, pk=operation_id)
    return operation_page(request, found, at=now())


def operation_page(
    request: HttpRequest,
    found: Operation,
    *,
    at: datetime,
    status: int = 200,
    **forms: AgainstHoldForm | BookingForm,
) -> HttpResponse:
    """Render the page of one operation; `forms` are those that were sent in and have errors."""
    request.about_patient_id = found.patient_id  # type: ignore[attr-defined]
    given = answer(found, at=at)
    if given.verdict.word == Word.CANNOT_TELL:
        raise CannotTell
    zone = programme.current().zone
    on = local_date(at, zone)
    may_decide = member(request).role in MAY_DECIDE
    context = {
        "row": rows_of([given])[0],
        "history": _history(found),
        "confirmations": found.confirmations.select_related("by").order_by("-id"),
        "may_decide": may_decide,
        "acts": [
            (following, answer_words.act_words(found.booking, following))
            for following in may_follow(found.booking, or_date=found.or_date, on=on)
        ]
        if may_decide
        else [],
        "against_hold_form": AgainstHoldForm(),
        "booking_form": BookingForm(),
        **_asked(at, zone, on),
        **forms,
    }
    return render(request, "clinic/operation.html", context, status=status)


@dataclass(frozen=True)
class PastPlan:
    """One row of an operation's history, with the date that stood before it."""

    change: OperationChange
    date_before: date | None
    moved: bool
    booking: str
    by: StaffUser | None


def _history(found: Operation) -> list[PastPlan]:
    """The plans of an operation, the latest first."""
    plans: list[PastPlan] = []
    before: OperationChange | None = None
    for change in found.changes.select_related("by").order_by("version"):
        plans.append(
            PastPlan(
                change,
                before.or_date if before else None,
                before is not None and before.or_date != change.or_date,
                words.BOOKING[Booking(change.booking)],
                change.by,
            )
        )
        before = change
    return plans[::-1]


def _rows(listed: list[Operation], *, at: datetime) -> list[Row]:
    given = answers(listed, at=at)
    if any(one.verdict.word == Word.CANNOT_TELL for one in given):
        raise CannotTell
    return rows_of(given)


def _unsettled_rows(found: list[Unsettled]) -> list[UnsettledRow]:
    rows = rows_of([one.given for one in found])
    return [
        UnsettledRow(answer_words.CHANGES[one.change], row)
        for one, row in zip(found, rows, strict=True)
    ]


def _listed(show: str, on: date) -> OperationQuerySet:
    if show == PASSED:
        return _with_patient(Operation.objects.date_passed(on=on))
    return _with_patient(Operation.objects.still_open().filter(or_date__isnull=True))


def _with_patient(rows: OperationQuerySet) -> OperationQuerySet:
    return rows.select_related("patient", "procedure").order_by("or_date", "id")


def _monday(week: str, on: date) -> date:
    """The Monday of the week that is asked for by any of its days; of this week otherwise."""
    try:
        day = parse_date(week) or on
    except ValueError:
        day = on
    day = min(max(day, EARLIEST), LATEST)
    return day - timedelta(days=day.weekday())


def _week(monday: date, on: date) -> dict[str, Any]:
    this = on - timedelta(days=on.weekday())
    one = timedelta(days=7)
    return {
        "monday": monday,
        "sunday": monday + timedelta(days=6),
        "this_week": this,
        "week_before": monday - one,
        "week_after": monday + one,
        "weeks_away": (monday - this).days // 7,
    }


def _asked(at: datetime, zone: ZoneInfo, on: date) -> dict[str, Any]:
    return {"asked_at": at, "zone": zone, "today": on}
