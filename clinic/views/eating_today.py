"""Who is in which stage of the eating plan today, and the check of a product's label."""

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from clinic import eating_words, plan_want_words
from clinic.access import about, member
from clinic.forms.eating_plan import LabelForm
from clinic.roles import CARERS, READERS
from education import stage_tables
from education.plan_moves import telling_of
from education.plans_wanting import plans_wanting
from education.rules.label import LabelAnswer, Nutrient, Printed, check
from education.stages_today import Here, stages_today
from patients import programme
from patients.clock import now
from patients.open_to import open_to

DRAWN = 1000  # units across the chart


@dataclass(frozen=True)
class Bar:
    """One stage with those who are in it; `width`: to the scale of the fullest."""

    name: str
    here: list[Here]
    width: int


@open_to(*READERS)
@require_safe
def eating_today(request: HttpRequest) -> HttpResponse:
    """List who is where, and whose plan should start and was not given."""
    at = now()
    today = stages_today(at=at)
    context: dict[str, Any] = {"today": today}
    if today:
        zone = programme.current().zone
        wanting = plans_wanting(at=at, zone=zone)
        context |= {
            "plan_rows": plan_want_words.rows(wanting, on=today.on, back=request.path),
            "zone": zone,
            "on": today.on,
            "here": request.path,
            "may_care": member(request).role in CARERS,
            "telling": telling_of(today.on),
        }
        most = max([len(here) for _, here in today.by_stage] + [1])
        context["bars"] = [
            Bar(stage.name["en"], here, len(here) * DRAWN // most) for stage, here in today.by_stage
        ]
        named = {one.operation.patient_id for _, here in today.by_stage for one in here}
        named |= {one.patient_id for one, _ in (*today.without, *today.waiting)}
        named |= {one.operation.patient_id for one in wanting}
        if named:
            about(request, *sorted(named))
    return render(request, "clinic/eating_today.html", context)


@open_to(*READERS)
@require_safe
def label_check(request: HttpRequest) -> HttpResponse:
    """Compare a product's printed numbers with a stage's limits; nothing is kept."""
    table = stage_tables.current()
    stages = stage_tables.stages_of(table) if table else ()
    asked = "stage" in request.GET
    form = LabelForm(
        request.GET if asked else None, stages=[(one.key, one.name["en"]) for one in stages]
    )
    context: dict[str, Any] = {"form": form, "stages": stages}
    if asked and form.is_valid():
        stage = next(one for one in stages if one.key == form.cleaned_data["stage"])
        found = check(form.label(), stage.limits)
        context |= {
            "stage": stage,
            "answer": eating_words.LABEL[found.word],
            "reasons": [eating_words.label_reason(one) for one in found.reasons],
            "rows": _rows(found),
        }
    return render(request, "clinic/label_check.html", context, status=422 if form.errors else 200)


def _rows(found: LabelAnswer) -> list[tuple[str, str, str]]:
    """Return each number of one serving, as sold and as drunk."""
    if found.as_sold is None or found.as_drunk is None:
        return []
    return [
        (
            eating_words.NUTRIENT[nutrient][0].capitalize(),
            _cell(found.as_sold, nutrient),
            _cell(found.as_drunk, nutrient),
        )
        for nutrient in Nutrient
    ]


def _cell(printed: Printed, nutrient: Nutrient) -> str:
    value = printed.of(nutrient)
    unit = eating_words.NUTRIENT[nutrient][1]
    return "not given" if value is None else f"{value.normalize():f} {unit}"
