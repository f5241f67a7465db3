"""What procedures require, seen before it is saved: for the administrator."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from clinic import requiring_words
from clinic.access import about, member
from clinic.cannot_tell import or_cannot_tell
from clinic.forms.operations import EARLIEST, LATEST
from clinic.forms.requirements import OffsetsForm, ProcedureForm
from clinic.models import Role
from clinic.once import once
from clinic.requiring import would
from education.assign import in_force, require
from education.drafting import archived_modules
from education.models import Module, Requirement
from education.rules.window import Window, window
from education.titles import titles
from patients import procedures, programme
from patients.clock import local_date, now
from patients.models import Operation, Procedure
from patients.open_to import open_to

EXAMPLE_AHEAD = timedelta(days=60)
SHOWN = 5  # operations that are named for each effect


@dataclass(frozen=True)
class Required:
    """A module that a procedure requires, with the window of the example."""

    requirement: Requirement
    title: str
    window: Window | None
    before: bool


@dataclass(frozen=True)
class RequiredOf:
    """A procedure, what it requires, which modules could be added, and its open operations."""

    procedure: Procedure
    required: list[Required]
    others: list[tuple[Module, str]]
    open_operations: int


@open_to(Role.ADMINISTRATOR)
@require_http_methods(["GET", "HEAD", "POST"])
@once
def requirements(request: HttpRequest) -> HttpResponse:
    """What each procedure requires, with the dates of an example, and a form for a procedure."""
    form = ProcedureForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        added = procedures.add(**form.cleaned_data)
        request.trail_detail = {"procedure": added.pk}  # type: ignore[attr-defined]
        messages.success(request, f"{added.name} is added. Say now which modules it requires.")
        return redirect("requirements")
    example = _example(request)
    modules = list(Module.objects.filter(editions__isnull=False).distinct().order_by("code"))
    names = titles(module.pk for module in modules)
    put_away = archived_modules()
    listed = [
        _required_of(procedure, modules, names, put_away, example) for procedure in _procedures()
    ]
    return render(
        request,
        "clinic/requirements.html",
        {"listed": listed, "form": form, "example": example},
        status=400 if form.is_bound else 200,
    )


@open_to(Role.ADMINISTRATOR)
@or_cannot_tell
@require_http_methods(["GET", "HEAD", "POST"])
@once
def requirement(request: HttpRequest, procedure_id: int, module_id: int) -> HttpResponse:
    """One module of one procedure: a GET shows what the change would do, a POST makes it.

    A POST from a page that is older than the requirement shows it anew and saves nothing.
    """
    at = now()
    procedure = get_object_or_404(Procedure, pk=procedure_id)
    module = get_object_or_404(Module, pk=module_id)
    latest = next((r for r in in_force(procedure) if r.module_id == module.pk), None)
    posted = request.method == "POST"
    typed = request.POST if posted else request.GET
    form = OffsetsForm(typed if "opens_days" in typed else None, initial=_offsets(latest))
    older = posted and typed.get("seen") != _seen(latest)
    if posted and form.is_valid() and not older:
        wanted = _wanted(procedure, module, form)
        require(
            procedure,
            module,
            opens_days=wanted.opens_days,
            clear_by_days=wanted.clear_by_days,
            required=wanted.required,
            at=at,
            by_id=member(request).pk,
        )
        request.trail_detail = dict(form.cleaned_data)  # type: ignore[attr-defined]
        messages.success(request, "The requirement is saved; open operations follow it.")
        return redirect("requirements")
    shown = form.is_bound and form.is_valid()
    context: dict[str, Any] = {
        "procedure": procedure,
        "module": module,
        "title": titles([module.pk]).get(module.pk, module.code),
        "latest": latest,
        "seen": _seen(latest),
        "older": older,
        "form": form,
        "example": _example(request),
        "shown": shown,
    }
    if shown:
        context |= _would(request, _wanted(procedure, module, form), context["example"], at=at)
    status = 200 if shown or not form.is_bound else 400
    return render(request, "clinic/requirement.html", context, status=409 if older else status)


def _wanted(procedure: Procedure, module: Module, form: OffsetsForm) -> Requirement:
    return Requirement(
        procedure=procedure,
        module=module,
        opens_days=form.cleaned_data["opens_days"],
        clear_by_days=form.cleaned_data["clear_by_days"],
        required=not form.cleaned_data["end"],
    )


def _seen(latest: Requirement | None) -> str:
    return str(latest.pk if latest else 0)


def _would(
    request: HttpRequest, wanted: Requirement, example: date, *, at: datetime
) -> dict[str, Any]:
    """Return what saving would do; the trail tells of the patients who are named."""
    found = would(wanted, at=at)
    on = local_date(at, programme.current().zone)
    effects = [
        requiring_words.effect(effect, operations, on=on, most=SHOWN)
        for effect, operations in found.effects.items()
    ]
    if found.no_longer_clear:
        effects.insert(0, requiring_words.no_longer_clear(found.no_longer_clear, on=on, most=SHOWN))
    named = {operation.patient_id for effect in effects for operation in effect.first}
    if named:
        about(request, *sorted(named))
    days = window(example, opens_days=wanted.opens_days, clear_by_days=wanted.clear_by_days)
    return {
        "would": found,
        "effects": effects,
        "example_words": requiring_words.example(example, days) if days else "",
        "before": wanted.clear_by_days <= 0,
        "today": on,
    }


def _offsets(latest: Requirement | None) -> dict[str, int]:
    if latest is None:
        return {}
    return {"opens_days": latest.opens_days, "clear_by_days": latest.clear_by_days}


def _procedures() -> list[Procedure]:
    return list(Procedure.objects.order_by("name"))


def _required_of(
    procedure: Procedure,
    modules: list[Module],
    names: dict[int, str],
    put_away: set[int],
    example: date,
) -> RequiredOf:
    required = [
        Required(
            row,
            names.get(row.module_id, ""),
            window(example, opens_days=row.opens_days, clear_by_days=row.clear_by_days),
            row.clear_by_days <= 0,
        )
        for row in in_force(procedure)
        if row.required
    ]
    ids = {one.requirement.module_id for one in required}
    return RequiredOf(
        procedure,
        required,
        [(m, names[m.pk]) for m in modules if m.pk not in ids and m.pk not in put_away],
        Operation.objects.still_open().filter(procedure=procedure).count(),
    )


def _example(request: HttpRequest) -> date:
    """The OR date of the example: the one asked for, or some weeks from today."""
    try:
        day = date.fromisoformat(request.GET.get("example", ""))
        return min(max(day, EARLIEST), LATEST)
    except ValueError:
        return local_date(now(), programme.current().zone) + EXAMPLE_AHEAD
