"""Another date or booking of an operation: first what it would do, then doing it.

Moving, postponing without a date, putting on hold, cancelling, reviving and marking as done are
one way: a GET shows what would change, a POST from that page does it, with a reason. It is refused
when the page is older than the record (promise S4).
"""

import hashlib
from datetime import date, datetime
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.views.decorators.http import require_http_methods

from clinic import answer_words, moving_eating_words, moving_words, words
from clinic.access import member
from clinic.cannot_tell import or_cannot_tell
from clinic.confirm import AnswerChanged, answer
from clinic.forms.operations import BookingForm, ForeseenForm, MoveForm, NewDateForm
from clinic.models import Confirmation
from clinic.moving import ForeseenChanged, preview, replan
from clinic.once import once
from clinic.operation_rows import rows_of
from clinic.unsettled import CannotTell
from clinic.views.operation_acts import changed_meanwhile, find_operation
from clinic.views.operations import MAY_DECIDE
from education.rules.confirm import Word
from education.titles import titles
from patients import programme
from patients.clock import local_date, now
from patients.models import Booking, Operation
from patients.open_to import open_to
from patients.rules.bookings import may_follow


@open_to(*MAY_DECIDE)
@or_cannot_tell
@require_http_methods(["GET", "HEAD", "POST"])
@once
def operation_move(request: HttpRequest, operation_id: int) -> HttpResponse:
    """Move the OR date or take it away. First it shows what that would do; a POST does it."""
    at = now()
    found = find_operation(request, operation_id)
    if request.method != "POST":
        return _move_page(request, found, NewDateForm(request.GET or None), at=at)
    form = MoveForm(request.POST)
    if not form.is_valid():
        return _move_page(request, found, NewDateForm(request.POST), at=at, sent=form)
    if not found.is_open:
        return changed_meanwhile(request, form, answer(found, at=at))
    or_date: date | None = form.cleaned_data["or_date"]
    said = f"Moved to {_day(or_date)}." if or_date else "Postponed, without a date."
    return _replan(request, found, form, or_date=or_date, booking=found.booking, at=at, said=said)


@open_to(*MAY_DECIDE)
@or_cannot_tell
@require_http_methods(["GET", "HEAD", "POST"])
@once
def operation_booking(request: HttpRequest, operation_id: int) -> HttpResponse:
    """Put on hold, take off hold, mark as done, cancel, revive: seen first, then done."""
    at = now()
    found = find_operation(request, operation_id)
    if request.method != "POST":
        form = BookingForm(initial={"booking": request.GET.get("booking", "")})
        return _booking_page(request, found, form, request.GET.get("booking", ""), at=at)
    form = BookingForm(request.POST)
    asked = request.POST.get("booking", "")
    if form.is_valid() and form.cleaned_data["version"] != found.version:
        return changed_meanwhile(request, form, answer(found, at=at))
    if not form.is_valid() or asked not in _may_follow(found, at):
        return _booking_page(request, found, form, asked, at=at)
    said = f"The operation is {words.BOOKING[Booking(asked)]} now."
    return _replan(request, found, form, or_date=found.or_date, booking=asked, at=at, said=said)


def _replan(
    request: HttpRequest,
    found: Operation,
    form: ForeseenForm,
    *,
    or_date: date | None,
    booking: str,
    at: datetime,
    said: str,
) -> HttpResponse:
    typed = form.cleaned_data
    try:
        replan(
            found,
            seen=typed["seen"],
            version=typed["version"],
            foreseen=typed["foreseen"],
            foresee=lambda latest: _foreseen(
                request, _would(latest, or_date, Booking(booking), at=at)
            ),
            reason=typed["reason"],
            at=at,
            by_id=member(request).pk,
            or_date=or_date,
            booking=Booking(booking),
        )
    except AnswerChanged as changed:
        same = isinstance(changed, ForeseenChanged)
        return changed_meanwhile(request, form, changed.answer, foresee_again=same)
    messages.success(request, said)
    return redirect("operation", found.pk)


def _move_page(
    request: HttpRequest,
    found: Operation,
    asked: NewDateForm,
    *,
    at: datetime,
    sent: MoveForm | None = None,
) -> HttpResponse:
    context = _about(found, at=at) | {"asked": asked}
    if found.is_open and asked.is_bound and asked.is_valid():
        or_date = asked.cleaned_data["or_date"]
        would = _would(found, or_date, Booking(found.booking), at=at)
        context |= would | {"foreseen": _foreseen(request, would)}
        context["unchanged"] = or_date == found.or_date
        context["form"] = sent or MoveForm(initial={"or_date": or_date})
    wrong = sent is not None or (asked.is_bound and not asked.is_valid())
    return render(request, "clinic/operation_move.html", context, status=400 if wrong else 200)


def _booking_page(
    request: HttpRequest, found: Operation, form: BookingForm, asked: str, *, at: datetime
) -> HttpResponse:
    """Show what the booking would do; one that cannot follow what the operation is now is said."""
    context = _about(found, at=at) | {"form": form, "asked": asked}
    possible = asked in _may_follow(found, at)
    if possible:
        would = _would(found, found.or_date, Booking(asked), at=at)
        context |= would | {"foreseen": _foreseen(request, would)}
        context["act"] = answer_words.act_words(found.booking, asked)
    status = 200 if possible and not form.is_bound else 400
    return render(request, "clinic/operation_booking.html", context, status=status)


def _may_follow(found: Operation, at: datetime) -> tuple[str, ...]:
    return may_follow(found.booking, or_date=found.or_date, on=programme.local_day(at))


def _about(found: Operation, *, at: datetime) -> dict[str, Any]:
    """Return what both pages show. Raises CannotTell when a fact could not be read."""
    zone = programme.current().zone
    given = answer(found, at=at)
    if given.verdict.word == Word.CANNOT_TELL:
        raise CannotTell
    on = local_date(at, zone)
    return {"row": rows_of([given])[0], "zone": zone, "asked_at": at, "today": on}


def _would(
    found: Operation, or_date: date | None, booking: Booking, *, at: datetime
) -> dict[str, Any]:
    would = preview(found, or_date=or_date, booking=booking, at=at)
    names = titles(line.assignment.module_id for line in would.lines)
    return {
        "row": rows_of([answer(found, at=at)])[0],
        "zone": programme.current().zone,
        "preview": would,
        "word": answer_words.WORDS[would.verdict.word],
        "reasons": answer_words.holds(would.verdict.reasons),
        "sentences": moving_words.sentences(would, names),
        "eating": moving_eating_words.sentences(would.eating) if would.eating else [],
        "notice": moving_words.NOTICE[would.notice] if would.notice else "",
        "confirmed": _loses(found, or_date, booking),
        "lines": [
            {
                "line": line,
                "title": names.get(line.assignment.module_id, line.assignment.module.code),
                "why": answer_words.reasons(line.then.answer, line.told) if line.then else "",
                "changes": bool(moving_words.standing_words(line)),
            }
            for line in would.lines
        ],
    }


def _foreseen(request: HttpRequest, would: dict[str, Any]) -> str:
    """Return a short text that changes with anything that the page says a change would do.

    It is taken from the very words: what is shown one day without this being changed is covered.
    """
    shown = render_to_string("clinic/_would.html", would | {"request": request})
    return hashlib.sha256(shown.encode()).hexdigest()[:16]


def _loses(found: Operation, or_date: date | None, booking: Booking) -> Confirmation | bool:
    """Return the confirmation that would go with the change, True for one by the schedule."""
    stays = booking == Booking.CONFIRMED and or_date == found.or_date
    if found.booking != Booking.CONFIRMED or stays or booking == Booking.DONE:
        return False
    latest = found.confirmations.select_related("by").order_by("-id").first()
    return latest if latest and latest.or_date == found.or_date else True


def _day(day: date) -> str:
    return f"{day:%a} {day.day} {day:%b %Y}"
