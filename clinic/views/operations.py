"""The coordinator's pages: which OR dates may be confirmed, and why or why not."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, cast
from zoneinfo import ZoneInfo

from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from clinic import answer_words, words
from clinic.access import member
from clinic.calls_for_help import calls_for_help
from clinic.cannot_tell import or_cannot_tell
from clinic.confirm import CONFIRMED, answer
from clinic.forms.operations import AgainstHoldForm
from clinic.models import Role, StaffUser
from clinic.operation_list import Show, asked_for, without_date
from clinic.operation_rows import by_day, rows_of, rows_with_answers, unsettled_rows
from clinic.search import find_operations
from clinic.unsettled import CannotTell, unsettled
from education.escalate import open_escalations
from education.rules.confirm import Word
from patients import programme
from patients.behind_changes import behind_changes
from patients.clock import local_date, now
from patients.message_words import message_name
from patients.models import Booking, IntakeStep, Operation, OperationChange
from patients.open_to import open_to
from patients.prepared import read
from patients.rules.bookings import may_follow
from patients.write_schedule import FILE

PAGE = 100  # operations; more of them are another page
MAY_LOOK = (Role.DIETITIAN, Role.CLINICIAN, Role.COORDINATOR, Role.ADMINISTRATOR, Role.AUDITOR)
MAY_DECIDE = (Role.COORDINATOR, Role.CLINICIAN)


@open_to(*MAY_LOOK)
@or_cannot_tell
@require_safe
def operations(request: HttpRequest) -> HttpResponse:
    """Operations of a day or a week, or found; above them what changed when confirmed."""
    at = now()
    zone = programme.current().zone
    on = local_date(at, zone)
    asked = request.GET.get("q", "").strip()
    which = asked_for(request.GET.dict(), on=on)
    found, pages = None, None
    if asked:
        found = find_operations(asked)
        rows = rows_with_answers(found.operations, at=at)
    else:
        pages = Paginator(which.rows(), PAGE).get_page(request.GET.get("page"))
        rows = rows_with_answers(read(cast("QuerySet[Operation]", pages.object_list)), at=at)
    changed = unsettled(at=at)
    request.unsettled = len(changed)  # type: ignore[attr-defined]  # the head counts them too
    context: dict[str, Any] = {
        "rows": rows,
        "days": by_day(rows) if which.show in (Show.DAY, Show.WEEK) and not asked else [],
        "unsettled": unsettled_rows(changed),
        "calls": calls_for_help(on=on),
        "found": found,
        "asked": asked,
        "which": which,
        "pages": pages,
        "without_date": without_date().count(),
        "passed": Operation.objects.date_passed(on=on).count(),
        "any": Operation.objects.exists(),
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
    **forms: AgainstHoldForm,
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
        "help": open_escalations([found.patient_id]).get(found.patient_id),
        "may_decide": may_decide,
        "acts": [
            (following, answer_words.act_words(found.booking, following))
            for following in may_follow(found.booking, or_date=found.or_date, on=on)
        ]
        if may_decide
        else [],
        "against_hold_form": AgainstHoldForm(),
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
    message: IntakeStep | None
    why: str


def _history(found: Operation) -> list[PastPlan]:
    """The plans of an operation, the latest first."""
    plans: list[PastPlan] = []
    before: OperationChange | None = None
    behind = behind_changes([found.pk])
    for change in found.changes.select_related("by").order_by("version"):
        message = behind.get((found.pk, change.recorded_at))
        plans.append(
            PastPlan(
                change,
                before.or_date if before else None,
                before is not None and before.or_date != change.or_date,
                words.BOOKING[Booking(change.booking)],
                change.by,
                message,
                change.reason or _why(change, message),
            )
        )
        before = change
    return plans[::-1]


def _why(change: OperationChange, message: IntakeStep | None) -> str:
    """Say why it is so where nobody wrote a reason; empty where somebody should have."""
    if message:
        return message_name(message)
    if change.source.startswith(FILE):
        return "as the file says"
    return "the answer was confirm" if change.source == CONFIRMED else ""


def _asked(at: datetime, zone: ZoneInfo, on: date) -> dict[str, Any]:
    return {"asked_at": at, "zone": zone, "today": on}
