"""The modules as patients read them, and as they are scored: to look at, and to sign."""

from itertools import groupby
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from clinic.access import member
from clinic.models import Role
from clinic.once import once
from clinic.roles import CLINICIANS, REGISTRARS, STAGE_KEEPERS
from education.drafting import archived_modules, in_work, is_archived, open_draft
from education.models import Edition, Module
from education.shown import ShownQuestion, as_written, sections
from education.signing import sign
from education.titles import titles
from patients import programme
from patients.clock import now
from patients.open_to import open_to
from patients.rules.languages import SOURCE_LANGUAGE, codes


@open_to(*Role)
@require_safe
def modules(request: HttpRequest) -> HttpResponse:
    """Every module that has an edition."""
    listed = list(Module.objects.filter(editions__isnull=False).distinct().order_by("code"))
    names = titles(module.pk for module in listed)
    put_away = archived_modules()
    writes = member(request).role in STAGE_KEEPERS
    return render(
        request,
        "clinic/modules.html",
        {
            "modules": [(m, names[m.pk]) for m in listed if m.pk not in put_away],
            "archived": [(m, names[m.pk]) for m in listed if m.pk in put_away],
            "in_work": in_work() if member(request).role in REGISTRARS else [],
            "may_write": writes,
        },
    )


@open_to(*Role)
@require_safe
def module(request: HttpRequest, code: str) -> HttpResponse:
    """One edition of a module, the latest unless another is asked for."""
    found = get_object_or_404(Module, code=code)
    editions = list(found.editions.select_related("by", "sign__by").order_by("-number"))
    if not editions:
        raise Http404
    edition = _chosen(editions, request.GET.get("edition", ""))
    asked = request.GET.get("language", "")
    language = asked if asked in edition.languages else SOURCE_LANGUAGE
    return render(
        request,
        "clinic/module.html",
        {
            "module": found,
            "edition": edition,
            "editions": editions,
            "language": language,
            "languages": [code for code in codes() if code in edition.languages],
            "title": edition.title[language],
            "sections": list(zip(sections(edition, language), edition.sections.all(), strict=True)),
            "files": _files(edition),
            "questions": _by_question(as_written(edition, language)),
            "sign": getattr(edition, "sign", None),
            "may_sign": member(request).role in CLINICIANS,
            "zone": programme.current().zone,
            "archived": is_archived(found),
            "draft": open_draft(code),
            "may_write": member(request).role in STAGE_KEEPERS,
        },
    )


@open_to(*CLINICIANS)
@once
@require_POST
def sign_edition(request: HttpRequest, code: str, number: int) -> HttpResponse:
    """A clinician signs the edition that the page showed."""
    edition = get_object_or_404(Edition, module__code=code, number=number)
    sign(edition, at=now(), by_id=member(request).pk)
    request.trail_detail = {"edition": edition.pk}  # type: ignore[attr-defined]
    messages.success(request, f"Edition {edition.number} is signed.")
    return redirect(f"{reverse('module', args=[code])}?edition={edition.number}")


def _files(edition: Edition) -> list[tuple[str, str, dict[str, Any]]]:
    """Return what an edition shows beside its words: section, "picture" or "video", record."""
    return [
        (part.heading[SOURCE_LANGUAGE], what, one)
        for part in edition.sections.all()
        for what, shown in (("picture", part.pictures), ("video", [part.video]))
        for one in shown
        if one
    ]


def _chosen(editions: list[Edition], number: str) -> Edition:
    return next((one for one in editions if str(one.number) == number), editions[0])


def _by_question(written: list[ShownQuestion]) -> list[list[ShownQuestion]]:
    """Return the versions of each question together."""
    return [list(versions) for _, versions in groupby(written, key=lambda one: one.number)]
