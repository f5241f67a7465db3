"""What a coordinator or a clinician does with an OR date: confirm it, also against a hold.

Each act is refused when the page it was pressed on is older than the record (promise S4), and the
page that says so shows both: what was seen and what it is now.
"""

from datetime import date, datetime

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from clinic import answer_words, words
from clinic.access import member
from clinic.cannot_tell import or_cannot_tell
from clinic.confirm import AnswerChanged, Held, OperationAnswer, answer, confirm
from clinic.forms.operations import AgainstHoldForm, ConfirmForm, SeenForm
from clinic.once import once
from clinic.operation_rows import rows_of
from clinic.unsettled import CannotTell
from clinic.views.operations import MAY_DECIDE, operation_page
from education.rules.confirm import Word
from patients import programme
from patients.clock import now
from patients.models import Booking, Operation
from patients.open_to import open_to


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
    found = find_operation(request, operation_id)
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
        return changed_meanwhile(request, form, changed.answer)
    except Held:
        return changed_meanwhile(request, form, answer(Operation.objects.get(pk=found.pk), at=at))
    against = " against a hold" if confirmation.against_hold else ""
    messages.success(request, f"Confirmed{against} for {_day(confirmation.or_date)}.")
    return redirect("operation", found.pk)


def find_operation(request: HttpRequest, operation_id: int) -> Operation:
    """Return an operation, or not-found; the trail tells whose it is."""
    found = get_object_or_404(
        Operation.objects.select_related("patient", "procedure"), pk=operation_id
    )
    request.about_patient_id = found.patient_id  # type: ignore[attr-defined]
    return found


def _again(request: HttpRequest, found: Operation, form: SeenForm, *, at: datetime) -> HttpResponse:
    """The page with what was typed and what is wrong; by what it shows now, it may be sent anew."""
    if isinstance(form, AgainstHoldForm):
        return operation_page(request, found, at=at, status=400, against_hold_form=form)
    # a bare button whose page had lost its fields
    return changed_meanwhile(request, form, answer(found, at=at))


def changed_meanwhile(
    request: HttpRequest, form: SeenForm, given: OperationAnswer, *, foresee_again: bool = False
) -> HttpResponse:
    """Refuse, and show both: what the page had shown, and what it is now.

    `foresee_again`: the answer is the same, and what a change would do has to be looked at anew.
    """
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
        "foresee_again": foresee_again,
        "asked": {k: form.data.get(k, "") for k in ("or_date", "no_date", "booking")},
        "zone": programme.current().zone,
        "asked_at": given.asked_at,
    }
    return render(request, "clinic/operation_changed.html", context, status=409)


def _day(day: date) -> str:
    return f"{day:%a} {day.day} {day:%b %Y}"
