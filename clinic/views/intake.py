"""The intake: schedule messages that wait for a person, one beside the record, and the acts."""

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from clinic.access import member
from clinic.forms.intake import ApplyForm, SetAsideForm, TakeUpForm
from clinic.intake import (
    as_it_came,
    changes,
    dates,
    entry,
    facts,
    may_apply,
    needs_procedure,
    patient_ids,
    state,
    steps_of,
    whys,
    word_to_remember,
)
from clinic.once import once
from clinic.roles import READERS, SCHEDULERS
from patients import programme
from patients.clock import now
from patients.intake import reread
from patients.message_words import EVENTS
from patients.models import IntakeMessage, IntakeStep, Procedure, Step
from patients.open_to import open_to
from patients.rules.schedule_rows import ScheduleRow
from patients.settle_message import (
    CannotApply,
    Look,
    SettledMeanwhile,
    apply_message,
    look,
    set_aside,
    take_up,
    waiting,
)

PAGE, LATELY = 50, 10


@open_to(*READERS)
@require_safe
def intake(request: HttpRequest) -> HttpResponse:
    """Show what waits, the oldest first, and what was settled lately."""
    at = now()
    procedures = dict(Procedure.objects.values_list("id", "name"))
    page = Paginator(waiting(), PAGE).get_page(request.GET.get("page"))
    settled = (
        IntakeStep.objects.in_force()
        .filter(step__in=[Step.SET_ASIDE, Step.REFUSED, Step.OVERTAKEN, Step.APPLIED])
        .exclude(step=Step.APPLIED, by__isnull=True)
        .select_related("message", "by")
        .order_by("-id")[:LATELY]
    )
    context = {
        "page": page,
        "entries": [entry(s, reread(s.message, at=at), procedures) for s in page.object_list],
        "settled": [entry(s, reread(s.message, at=at), procedures) for s in settled],
        "any": IntakeMessage.objects.exists(),
        "zone": programme.current().zone,
    }
    return render(request, "clinic/intake.html", context)


@open_to(*READERS)
@require_safe
def intake_message(request: HttpRequest, message_id: int) -> HttpResponse:
    """Show one message beside the record as it is now."""
    return _show(request, _found(request, message_id))


@open_to(*SCHEDULERS)
@require_POST
@once
def intake_apply(request: HttpRequest, message_id: int) -> HttpResponse:
    """Apply a message that waits, by the date and procedure that the person says."""
    seen = _found(request, message_id)
    form = _apply_form(seen, request.POST)
    if not form.is_valid():
        return _show(request, seen, status=400, apply_form=form)
    try:
        step = apply_message(
            seen.message,
            shown=form.cleaned_data["shown"],
            at=now(),
            by_id=member(request).pk,
            choice=form.choice(),
            note=form.cleaned_data["note"],
            remember=form.cleaned_data.get("remember", False),
        )
    except SettledMeanwhile:
        return _show(request, look(seen.message, at=now()), status=409, overtaken=True)
    except CannotApply as refused:
        found = Look(seen.message, seen.step, seen.reading, refused.judged, seen.shown)
        return _show(request, found, status=400, refused=True)
    messages.success(request, "Applied.")
    if step.operation_id:
        return redirect("operation", step.operation_id)
    return redirect("intake")


@open_to(*SCHEDULERS)
@require_POST
@once
def intake_set_aside(request: HttpRequest, message_id: int) -> HttpResponse:
    """Set a message that waits aside, with the reason."""
    seen = _found(request, message_id)
    form = SetAsideForm(request.POST, **_word(seen))
    if not form.is_valid():
        return _show(request, seen, status=400, aside_form=form)
    typed = form.cleaned_data
    try:
        set_aside(
            seen.message,
            shown_step=typed["shown_step"],
            reason=typed["reason"],
            at=now(),
            by_id=member(request).pk,
            not_ours=typed.get("not_ours", False),
        )
    except SettledMeanwhile:
        return _show(request, look(seen.message, at=now()), status=409, overtaken=True)
    messages.success(request, "Set aside. It can be taken up again from its page.")
    return redirect("intake")


@open_to(*SCHEDULERS)
@require_POST
@once
def intake_take_up(request: HttpRequest, message_id: int) -> HttpResponse:
    """Let a message that was set aside wait again."""
    seen = _found(request, message_id)
    form = TakeUpForm(request.POST)
    if not form.is_valid():
        return _show(request, seen, status=400)
    try:
        take_up(
            seen.message,
            shown_step=form.cleaned_data["shown_step"],
            at=now(),
            by_id=member(request).pk,
        )
    except SettledMeanwhile:
        return _show(request, look(seen.message, at=now()), status=409, overtaken=True)
    return redirect("intake-message", message_id)


def _found(request: HttpRequest, message_id: int) -> Look:
    message = get_object_or_404(IntakeMessage, pk=message_id)
    seen = look(message, at=now())
    request.about_patient_id = patient_ids(  # type: ignore[attr-defined]
        seen.judged.proposal, seen.step
    )
    return seen


def _apply_form(seen: Look, data: Any = None) -> ApplyForm:
    return ApplyForm(
        data,
        initial={"shown": seen.shown},
        dates=dates(seen),
        needs_date=seen.needs_date,
        needs_procedure=needs_procedure(seen),
        **_word(seen),
    )


def _word(seen: Look) -> dict[str, str]:
    return {"word": word_to_remember(seen), "sender": seen.reading.sender}


def _show(
    request: HttpRequest,
    seen: Look,
    *,
    status: int = 200,
    apply_form: ApplyForm | None = None,
    aside_form: SetAsideForm | None = None,
    overtaken: bool = False,
    refused: bool = False,
) -> HttpResponse:
    procedures = dict(Procedure.objects.values_list("id", "name"))
    why, also = whys(seen, procedures)
    row = seen.reading.row
    waits, aside = seen.step.step == Step.WAITS, seen.step.step == Step.SET_ASIDE
    proposal = seen.judged.proposal
    operation = proposal.operation if proposal else None
    settles = member(request).role in SCHEDULERS
    context = {
        "message": seen.message,
        "event": EVENTS[seen.reading.event],
        "who": f"{row.given_names} {row.family_names}" if isinstance(row, ScheduleRow) else "",
        "state": state(seen),
        "step": seen.step,
        "waits": waits,
        "aside": aside,
        "why": why if waits or seen.step.step == Step.REFUSED else [],
        "also": also,
        "facts": facts(seen, procedures),
        "changes": changes(seen, procedures) if waits else [],
        "operation_id": operation.id if operation else seen.step.operation_id,
        "settles": settles,
        "apply_form": (apply_form or _apply_form(seen))
        if waits and settles and may_apply(seen)
        else None,
        "aside_form": (
            aside_form or SetAsideForm(initial={"shown_step": seen.step.pk}, **_word(seen))
        ),
        "form": apply_form or aside_form,
        "steps": steps_of(seen.message),
        "as_it_came": as_it_came(seen.message),
        "overtaken": overtaken,
        "refused": refused,
        "zone": programme.current().zone,
    }
    return render(request, "clinic/intake_message.html", context, status=status)
