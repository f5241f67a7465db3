"""The stages of the eating plan: read, change what they say and their days, sign."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clinic import eating_words
from clinic.access import member
from clinic.forms.eating_stages import (
    DaysFormSet,
    NumbersForm,
    StageForm,
    days_of,
    stage_initial,
)
from clinic.forms.operations import EARLIEST, LATEST
from clinic.once import once
from clinic.roles import CLINICIANS, READERS, STAGE_KEEPERS
from education import stage_tables
from education.models import StageTable
from education.rules.eating_stages import Finding, Stage, Stay, findings, refusals, stays
from education.rules.stage_text import StageProblems, read_stages
from patients.clock import now
from patients.open_to import open_to
from patients.programme import local_day
from patients.rules.languages import choices

EXAMPLE_AHEAD = timedelta(days=60)
DRAWN = 1000  # units across the drawing


@dataclass(frozen=True)
class ShownStage:
    """A stage as the pages show it, with the dates of the example, and where it is drawn."""

    stage: Stage
    name: str
    first: str
    last: str
    example: str
    x: int
    width: int


@open_to(*READERS)
@require_safe
def eating_stages(request: HttpRequest) -> HttpResponse:
    """Show the stages in force, with the dates of an example."""
    table = stage_tables.current()
    role = member(request).role
    context: dict[str, Any] = {
        "table": table,
        "example": _example(request),
        "may_change": role in STAGE_KEEPERS,
        "may_sign": role in CLINICIANS,
        "others": choices()[1:],
        "earlier": StageTable.objects.select_related("by", "sign__by").order_by("-number")[:20],
    }
    if table:
        stages, stay = stage_tables.stages_of(table), stage_tables.usual_stay(table)
        context |= _shown(stages, stay, stage_tables.flaws(table), context["example"])
        context["sign"] = getattr(table, "sign", None)
    return render(request, "clinic/eating_stages.html", context)


@open_to(*STAGE_KEEPERS)
@once
@require_POST
def eating_stages_found(request: HttpRequest) -> HttpResponse:
    """Start with the stages of common practice, where the programme has none yet."""
    if stage_tables.current() is None:
        stage_tables.found(at=now(), by_id=member(request).pk)
        messages.success(request, "The stages are there. Read each of them: they are no rule.")
    return redirect("eating-stages")


@open_to(*CLINICIANS)
@once
@require_POST
def eating_stages_sign(request: HttpRequest) -> HttpResponse:
    """A clinician signs the table that the page showed."""
    table = stage_tables.current()
    if table is None or request.POST.get("seen") != str(table.number):
        messages.warning(request, "Not signed: the stages were changed after the page was shown.")
        return redirect("eating-stages")
    stage_tables.sign(table, at=now(), by_id=member(request).pk)
    request.trail_detail = {"table": table.number}  # type: ignore[attr-defined]
    messages.success(request, f"Table {table.number} is signed.")
    return redirect("eating-stages")


@open_to(*STAGE_KEEPERS)
@require_http_methods(["GET", "HEAD", "POST"])
@once
def eating_stage_days(request: HttpRequest) -> HttpResponse:
    """The days of all stages and the numbers: shown with what is wrong, then saved."""
    table = _table()
    posted = request.method == "POST"
    initial = [days_of(stage) for stage in stage_tables.stages_of(table)]
    rows = DaysFormSet(request.POST if posted else None, initial=initial, prefix="stage")
    numbers = NumbersForm(request.POST if posted else None, initial=_numbers(table))
    context: dict[str, Any] = {
        "table": table,
        "rows": rows,
        "form": numbers,
        "example": _example(request),
        "older": posted and request.POST.get("seen") != str(table.number),
        "problems": (),
    }
    if posted and rows.is_valid() and numbers.is_valid():
        try:
            stages = _typed_stages(rows, table)
        except StageProblems as wrong:
            context["problems"] = wrong.problems
        else:
            if "save" in request.POST and not context["older"]:
                saved = _save(request, table, stages, numbers.cleaned_data)
                if saved:
                    return saved
            typed = numbers.cleaned_data
            known = stays(
                range(typed["fewest_nights"], typed["most_nights"] + 1),
                range(typed["earliest_visit"], typed["latest_visit"] + 1),
            )
            stay = Stay(typed["usual_nights"], typed["usual_visit"])
            context |= _shown(stages, stay, findings(stages, known), context["example"])
    status = 409 if context["older"] else 200 if not posted or "shown" in context else 422
    return render(request, "clinic/eating_stage_days.html", context, status=status)


@open_to(*STAGE_KEEPERS)
@require_http_methods(["GET", "HEAD", "POST"])
@once
def eating_stage(request: HttpRequest, key: str) -> HttpResponse:
    """What one stage says and allows."""
    table = _table()
    stages = stage_tables.stages_of(table)
    before = next((stage for stage in stages if stage.key == key), None)
    if before is None:
        raise Http404
    posted = request.method == "POST"
    form = StageForm(request.POST if posted else None, initial=stage_initial(before))
    older = posted and request.POST.get("seen") != str(table.number)
    if posted and form.is_valid() and not older:
        try:
            (after,) = read_stages([form.applied(before)])
        except StageProblems as wrong:
            for problem in wrong.problems:
                form.add_error(None, problem)
        else:
            changed = [after if stage.key == key else stage for stage in stages]
            saved = _save(request, table, changed, {}, form)
            if saved:
                return saved
    context = {"table": table, "stage": before, "form": form, "older": older}
    status = 409 if older else 422 if form.errors else 200
    return render(request, "clinic/eating_stage.html", context, status=status)


def _save(
    request: HttpRequest,
    table: StageTable,
    stages: list[Stage] | tuple[Stage, ...],
    numbers: dict[str, Any],
    form: forms.Form | None = None,
) -> HttpResponse | None:
    """Save the next table; None, with the reasons in the form, when it is refused."""
    try:
        after = stage_tables.change(
            table, stages=stages, at=now(), by_id=member(request).pk, **numbers
        )
    except stage_tables.StagesDoNotFit as refused:
        names = {stage.key: stage.name["en"] for stage in stages}
        for found in refused.findings if form else ():
            if form:
                form.add_error(None, eating_words.finding(found, names))
        return None
    except stage_tables.ChangedMeanwhile:
        messages.warning(request, "Not saved: somebody else changed the stages just now.")
        return redirect("eating-stages")
    request.trail_detail = {"table": after.number}  # type: ignore[attr-defined]
    messages.success(
        request,
        f"Saved as table {after.number}. A clinician has to sign it; until then it is shown as "
        "common practice.",
    )
    return redirect("eating-stages")


def _typed_stages(rows: Any, table: StageTable) -> tuple[Stage, ...]:
    """Return the stages that were typed, in the order of their first days as listed."""
    before = {stage.key: stage for stage in stage_tables.stages_of(table)}
    typed = [
        row.applied(before.get(row.cleaned_data.get("key", "")))
        for row in rows
        if not row.is_empty and not row.cleaned_data.get("remove")
    ]
    stages = read_stages(typed)
    stay = stage_tables.usual_stay(table)
    return tuple(sorted(stages, key=lambda stage: stay.offset(stage.first)))


def _shown(
    stages: tuple[Stage, ...], stay: Stay, found: tuple[Finding, ...], example: date
) -> dict[str, Any]:
    spans = [(stage, stage.span(stay)) for stage in stages]
    offsets = [offset for _, days in spans for offset in days]
    first, last = min(offsets, default=0), max(offsets, default=0)
    each = DRAWN / (last - first + 1)
    names = {stage.key: stage.name["en"] for stage in stages}
    return {
        "shown": [
            ShownStage(
                stage,
                stage.name["en"],
                eating_words.edge(stage.first),
                eating_words.edge(stage.last),
                eating_words.span(stage, days, example),
                round((days.start - first) * each),
                max(0, round(len(days) * each) - 4),
            )
            for stage, days in spans
        ],
        "operation_x": round((0 - first) * each),
        "stay": stay,
        "findings": [eating_words.finding(one, names) for one in found],
        "refused": bool(refusals(found)),
    }


def _numbers(table: StageTable) -> dict[str, Any]:
    return {name: getattr(table, name) for name in NumbersForm.base_fields if name != "reason"}


def _table() -> StageTable:
    table = stage_tables.current()
    if table is None:
        raise Http404("no stages yet")
    return table


def _example(request: HttpRequest) -> date:
    """The OR date of the example: the one asked for, or some weeks from today."""
    asked = request.POST.get("example") or request.GET.get("example", "")
    try:
        return min(max(date.fromisoformat(asked), EARLIEST), LATEST)
    except ValueError:
        return _today(now()) + EXAMPLE_AHEAD


def _today(at: datetime) -> date:
    return local_day(at)
