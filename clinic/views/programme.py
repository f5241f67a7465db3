"""The programme's settings and what it requires: for the administrator."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.contrib import messages
from django.forms.models import model_to_dict
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from clinic.access import member
from clinic.forms.programme import MATCHING, ProgrammeForm
from clinic.forms.requirements import OffsetsForm, ProcedureForm
from clinic.models import Role
from clinic.once import once
from education.assign import in_force, require
from education.models import Module, Requirement
from education.rules.window import Window, window
from education.titles import titles
from patients import procedures, programme
from patients.clock import local_date, now
from patients.models import Operation, Procedure, Programme, latest_first
from patients.open_to import open_to

EXAMPLE_AHEAD = timedelta(days=60)


@open_to(Role.ADMINISTRATOR)
@require_http_methods(["GET", "HEAD", "POST"])
@once
def programme_settings(request: HttpRequest) -> HttpResponse:
    """The settings in force, and what they were before. Each change is a new row."""
    at = now()
    settings = programme.current()
    form = ProgrammeForm(
        request.POST if request.method == "POST" else None, initial=model_to_dict(settings)
    )
    if form.is_valid():
        if form.has_changed():
            programme.change(at=at, by_id=member(request).pk, **form.cleaned_data)
            request.trail_detail = {"changed": form.changed_data}  # type: ignore[attr-defined]
            messages.success(request, "The settings are changed from now on.")
        else:
            messages.info(request, "Nothing was different, so nothing was changed.")
        return redirect("programme")
    context = {"form": form, "history": _history(), "zone": settings.zone}
    return render(request, "clinic/programme.html", context, status=400 if form.is_bound else 200)


@dataclass(frozen=True)
class PastSettings:
    """One row of the settings, and what it changed: label, before, after."""

    row: Programme
    changes: list[tuple[str, Any, Any]]


def _history() -> list[PastSettings]:
    rows = list(Programme.objects.select_related("by").order_by(*latest_first()))
    form = ProgrammeForm()
    past = []
    for row, before in zip(rows, [*rows[1:], None], strict=True):
        changes = [
            (str(form.fields[name].label), _said(name, before), _said(name, row))
            for name in ProgrammeForm.base_fields
            if before is not None and getattr(before, name) != getattr(row, name)
        ]
        past.append(PastSettings(row, changes))
    return past


def _said(name: str, row: Programme) -> Any:
    value = getattr(row, name)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return dict(MATCHING)[value] if name == "matching" else value


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
    listed = [_required_of(procedure, modules, names, example) for procedure in _procedures()]
    return render(
        request,
        "clinic/requirements.html",
        {"listed": listed, "form": form, "example": example},
        status=400 if form.is_bound else 200,
    )


@open_to(Role.ADMINISTRATOR)
@require_http_methods(["GET", "HEAD", "POST"])
@once
def requirement(request: HttpRequest, procedure_id: int, module_id: int) -> HttpResponse:
    """One module of one procedure: a GET shows what the change would touch, a POST makes it."""
    at = now()
    procedure = get_object_or_404(Procedure, pk=procedure_id)
    module = get_object_or_404(Module, pk=module_id)
    latest = next((r for r in in_force(procedure) if r.module_id == module.pk), None)
    typed = request.POST if request.method == "POST" else request.GET
    form = OffsetsForm(typed or None, initial=_offsets(latest))
    if request.method == "POST" and form.is_valid():
        required = not form.cleaned_data["end"]
        require(
            procedure,
            module,
            opens_days=form.cleaned_data["opens_days"],
            clear_by_days=form.cleaned_data["clear_by_days"],
            required=required,
            at=at,
            by_id=member(request).pk,
        )
        request.trail_detail = dict(form.cleaned_data)  # type: ignore[attr-defined]
        messages.success(request, "The requirement is saved; open operations follow it.")
        return redirect("requirements")
    example = _example(request)
    shown = form.is_bound and form.is_valid()
    context: dict[str, Any] = {
        "procedure": procedure,
        "module": module,
        "title": titles([module.pk]).get(module.pk, module.code),
        "latest": latest,
        "form": form,
        "example": example,
        "shown": shown,
        "open_operations": Operation.objects.still_open().filter(procedure=procedure).count(),
    }
    if shown and not form.cleaned_data["end"]:
        context["window"] = window(
            example,
            opens_days=form.cleaned_data["opens_days"],
            clear_by_days=form.cleaned_data["clear_by_days"],
        )
        context["before"] = form.cleaned_data["clear_by_days"] <= 0
    status = 400 if form.is_bound and not shown else 200
    return render(request, "clinic/requirement.html", context, status=status)


def _offsets(latest: Requirement | None) -> dict[str, int]:
    if latest is None:
        return {}
    return {"opens_days": latest.opens_days, "clear_by_days": latest.clear_by_days}


def _procedures() -> list[Procedure]:
    return list(Procedure.objects.order_by("name"))


def _required_of(
    procedure: Procedure, modules: list[Module], names: dict[int, str], example: date
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
        [(m, names[m.pk]) for m in modules if m.pk not in ids],
        Operation.objects.still_open().filter(procedure=procedure).count(),
    )


def _example(request: HttpRequest) -> date:
    """The OR date of the example: the one asked for, or some weeks from today."""
    try:
        return date.fromisoformat(request.GET.get("example", ""))
    except ValueError:
        return local_date(now(), programme.current().zone) + EXAMPLE_AHEAD
