"""What a coordinator or a clinician does with an operation: confirm, hold, move, cancel, revive.

Each act is refused when the page it was pressed on is older than the record (promise S4), and the
page that says so shows both: what was seen and what it is now.
"""

from datetime import date, datetime
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from clinic import answer_words, words
from clinic.access import member
from clinic.cannot_tell import or_cannot_tell
from clinic.confirm import AnswerChanged, Held, OperationAnswer, answer, confirm
from clinic.forms.operations import (
    AgainstHoldForm,
    BookingForm,
    ConfirmForm,
    MoveForm,
    NewDateForm,
    SeenForm,
)
from clinic.moving import Line as MovedLine
from clinic.moving import preview_move
from clinic.once import once
from clinic.operation_rows import rows_of
from clinic.unsettled import CannotTell
from clinic.views.operations import MAY_DECIDE, operation_page
from education.rules.confirm import Word
from education.rules.standing import Standing
from education.titles import titles
from patients import programme
from patients.clock import local_date, now
from patients.models import Booking, Operation
from patients.open_to import open_to
from patients.rules.bookings import may_follow
from patients.schedule import ChangedMeanwhile, change

SOURCE = "by hand"


@open_to(*MAY_DECIDE)
@or_cannot_tell
@require_POST
@once
def operation_confirm(request: HttpRequest, operation_id: int) -> HttpResponse:
    """Confirm the OR date by the answer that the page showed."""
    return _confirm(request, operation_id, ConfirmForm(request.POST))


@open_to(*MAY_DECIDE)
@or_cannot_tell
@require_POST
@once
def operation_confirm_against_hold(request: HttpRequest, operation_id: int) -> HttpResponse:
    """Confirm although the answer is hold, by a named clinician's reason."""
    return _confirm(request, operation_id, AgainstHoldForm(request.POST))


def _confirm(request: HttpRequest, operation_id: int, form: SeenForm) -> HttpResponse:
    at = now()
    found = _operation(request, operation_id)
    if not form.is_valid():
        return _again(request, found, form, at=at)
    typed = form.cleaned_data
    try:
        confirmation = confirm(
            found,
            seen=typed["seen"],
            at=at,
            by=member(request),
            clinician=typed.get("clinician", ""),
            clinician_reason=typed.get("clinician_reason", ""),
        )
    except AnswerChanged as changed:
        return _changed(request, form, changed.answer)
    except Held:
        return _changed(request, form, answer(Operation.objects.get(pk=found.pk), at=at))
    against = " against a hold" if confirmation.against_hold else ""
    messages.success(request, f"Confirmed{against} for {_day(confirmation.or_date)}.")
    return redirect("operation", found.pk)


@open_to(*MAY_DECIDE)
@or_cannot_tell
@require_POST
@once
def operation_booking(request: HttpRequest, operation_id: int) -> HttpResponse:
    """Put on hold, take off hold, mark as done, cancel, revive: another booking, with a reason."""
    at = now()
    found = _operation(request, operation_id)
    form = BookingForm(request.POST)
    if not form.is_valid():
        return _again(request, found, form, at=at)
    typed = form.cleaned_data
    if typed["version"] != found.version:
        return _changed(request, form, answer(found, at=at))
    on = local_date(at, programme.current().zone)
    if typed["booking"] not in may_follow(found.booking, or_date=found.or_date, on=on):
        form.add_error(None, "This cannot follow what the operation is now.")
        return _again(request, found, form, at=at)
    booking = Booking(typed["booking"])
    try:
        change(
            found,
            at=at,
            reason=typed["reason"],
            source=SOURCE,
            by_id=member(request).pk,
            version=typed["version"],
            booking=booking,
        )
    except ChangedMeanwhile as changed:
        return _changed(request, form, answer(changed.operation, at=at))
    messages.success(request, f"The operation is {words.BOOKING[booking]} now.")
    return redirect("operation", found.pk)


@open_to(*MAY_DECIDE)
@or_cannot_tell
@require_http_methods(["GET", "HEAD", "POST"])
@once
def operation_move(request: HttpRequest, operation_id: int) -> HttpResponse:
    """Move the OR date or take it away. First it shows what that would do; a POST does it."""
    at = now()
    found = _operation(request, operation_id)
    if request.method == "POST":
        return _move(request, found, MoveForm(request.POST), at=at)
    if not request.GET:
        return _move_page(request, found, NewDateForm(), at=at)
    return _move_page(request, found, NewDateForm(request.GET), at=at)


def _move(request: HttpRequest, found: Operation, form: MoveForm, *, at: datetime) -> HttpResponse:
    if not form.is_valid():
        return _move_page(request, found, NewDateForm(request.POST), at=at, sent=form)
    typed = form.cleaned_data
    if not found.is_open:
        return _changed(request, form, answer(found, at=at))
    try:
        moved = change(
            found,
            at=at,
            reason=typed["reason"],
            source=SOURCE,
            by_id=member(request).pk,
            version=typed["version"],
            or_date=typed["or_date"],
        )
    except ChangedMeanwhile as changed:
        return _changed(request, form, answer(changed.operation, at=at))
    messages.success(
        request,
        f"Moved to {_day(moved.or_date)}." if moved.or_date else "Postponed, without a date.",
    )
    return redirect("operation", found.pk)


def _move_page(
    request: HttpRequest,
    found: Operation,
    asked: NewDateForm,
    *,
    at: datetime,
    sent: MoveForm | None = None,
) -> HttpResponse:
    zone = programme.current().zone
    on = local_date(at, zone)
    given = answer(found, at=at)
    if given.verdict.word == Word.CANNOT_TELL:
        raise CannotTell
    context: dict[str, Any] = {
        "row": rows_of([given])[0],
        "asked": asked,
        "zone": zone,
        "asked_at": at,
        "today": on,
    }
    if found.is_open and asked.is_bound and asked.is_valid():
        context |= _preview(given, asked.cleaned_data["or_date"], on=on)
        context["form"] = sent or MoveForm(initial={"or_date": asked.cleaned_data["or_date"]})
    wrong = sent is not None or (asked.is_bound and not asked.is_valid())
    return render(request, "clinic/operation_move.html", context, status=400 if wrong else 200)


def _preview(given: OperationAnswer, or_date: date | None, *, on: date) -> dict[str, Any]:
    preview = preview_move(given, or_date, on=on)
    names = titles(line.assignment.module_id for line in preview.lines)
    return {
        "preview": preview,
        "word": answer_words.WORDS[preview.verdict.word],
        "unchanged": or_date == given.operation.or_date,
        "passed": or_date is not None and or_date < on,
        "loses_confirmation": given.operation.booking == Booking.CONFIRMED
        and or_date != given.operation.or_date,
        "lines": [(line, _line_words(line, names)) for line in preview.lines],
    }


def _line_words(line: MovedLine, names: dict[int, str]) -> dict[str, str]:
    return {
        "title": names.get(line.assignment.module_id, line.assignment.module.code),
        "now": words.STANDING[Standing(line.now.standing)],
        "then": words.STANDING[Standing(line.then.answer.standing)],
        "why": answer_words.reasons(line.then.answer),
    }


def _operation(request: HttpRequest, operation_id: int) -> Operation:
    found = get_object_or_404(
        Operation.objects.select_related("patient", "procedure"), pk=operation_id
    )
    request.about_patient_id = found.patient_id  # type: ignore[attr-defined]
    return found


def _again(request: HttpRequest, found: Operation, form: SeenForm, *, at: datetime) -> HttpResponse:
    """The page with what was typed and what is wrong; by what it shows now, it may be sent anew."""
    name = {AgainstHoldForm: "against_hold_form", BookingForm: "booking_form"}.get(type(form))
    if name is None:  # a bare button whose page had lost its fields
        return _changed(request, form, answer(found, at=at))
    return operation_page(request, found, at=at, status=400, **{name: form})  # type: ignore[arg-type]


def _changed(request: HttpRequest, form: SeenForm, given: OperationAnswer) -> HttpResponse:
    """Refuse, and show both: what the page had shown, and what it is now."""
    if given.verdict.word == Word.CANNOT_TELL:
        raise CannotTell
    shown = form.shown()
    context = {
        "row": rows_of([given])[0],
        "seen_word": answer_words.WORDS.get(shown["word"], ""),
        "seen_verdict": shown["word"],
        "seen_or_date": shown["or_date"],
        "seen_booking": next((words.BOOKING[b] for b in Booking if b == shown["booking"]), ""),
        "typed": {
            form.fields[name].label: form.data.get(name, "")
            for name in ("clinician", "clinician_reason", "reason")
            if name in form.fields and form.data.get(name)
        },
        "zone": programme.current().zone,
        "asked_at": given.asked_at,
    }
    return render(request, "clinic/operation_changed.html", context, status=409)


def _day(day: date) -> str:
    return f"{day:%a} {day.day} {day:%b %Y}"
