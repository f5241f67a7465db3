"""The programme's settings: for the administrator."""

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.forms.models import model_to_dict
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from clinic.access import member
from clinic.forms.programme import MATCHING, ProgrammeForm
from clinic.ids import id_in
from clinic.models import Role
from clinic.once import once
from patients import programme
from patients.clock import now
from patients.models import Programme, latest_first
from patients.open_to import open_to


@open_to(Role.ADMINISTRATOR)
@require_http_methods(["GET", "HEAD", "POST"])
@once
def programme_settings(request: HttpRequest) -> HttpResponse:
    """The settings in force, and what they were before. Each change is a new row."""
    at = now()
    settings = programme.current()
    shown = _shown(request) or settings
    form = ProgrammeForm(
        request.POST if request.method == "POST" else None, initial=model_to_dict(shown)
    )
    if form.is_valid():
        if form.has_changed():
            # What somebody else changed while this page was open stays.
            changed = {name: form.cleaned_data[name] for name in form.changed_data}
            programme.change(at=at, by_id=member(request).pk, **changed)
            request.trail_detail = {"changed": form.changed_data}  # type: ignore[attr-defined]
            messages.success(request, "The settings are changed from now on.")
        else:
            messages.info(request, "Nothing was different, so nothing was changed.")
        return redirect("programme")
    context = {"form": form, "seen": shown.pk, "history": _history(), "zone": settings.zone}
    return render(request, "clinic/programme.html", context, status=400 if form.is_bound else 200)


def _shown(request: HttpRequest) -> Programme | None:
    """Return the settings that the form was filled in with, as it says."""
    return Programme.objects.filter(pk=id_in(request.POST.get("seen", ""))).first()


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
