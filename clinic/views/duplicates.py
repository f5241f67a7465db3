"""Records that may be one person: the pairs, those kept apart, and the merges that were done."""

from typing import TypeVar

from django.contrib import messages
from django.core.paginator import Page, Paginator
from django.db import DatabaseError
from django.db.models import Model, QuerySet
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from clinic.access import about, member
from clinic.comparison import compare, read_sides
from clinic.duplicates import kept_apart, merges, read_pairs
from clinic.forms.duplicates import TwoPeopleForm
from clinic.once import once
from clinic.roles import READERS, REGISTRARS
from clinic.views.acts import way_back
from patients import keep_apart
from patients.clock import now
from patients.duplicates import pairs, waiting
from patients.models import KeptApart, Patient
from patients.open_to import open_to
from patients.programme import current
from patients.speaks_for import MergedMeanwhile

ROWS = 20
Row = TypeVar("Row", bound=Model)


@open_to(*READERS)
@require_safe
def duplicates(request: HttpRequest) -> HttpResponse:
    """List the pairs, the strongest first; below, what was decided, the latest first."""
    try:
        return _show(request)
    except DatabaseError:
        return render(request, "clinic/could_not_load.html", status=503)


@open_to(*REGISTRARS)
@once
def keep_two_apart(request: HttpRequest, pk: int, other: int) -> HttpResponse:
    """A member of staff says that two records are two people."""
    one, two = two_records(request, pk, other)
    form = TwoPeopleForm(request.POST or None)
    back = way_back(request, reverse("duplicates"))
    if request.method == "POST" and form.is_valid():
        note = form.cleaned_data["note"]
        try:
            keep_apart.keep_apart(one, two, note=note, at=now(), by_id=member(request).pk)
        except MergedMeanwhile:
            messages.warning(
                request, "Nothing was kept apart: one of the two was merged meanwhile."
            )
            return HttpResponseRedirect(reverse("duplicates"))
        messages.success(
            request,
            f"Kept apart as two people: {one.full_name}, MRN {one.mrn}, "
            f"and {two.full_name}, MRN {two.mrn}.",
        )
        return HttpResponseRedirect(back)
    sides = read_sides([one, two])
    lines = compare(sides[one.pk], sides[two.pk])
    context = {"one": one, "other": two, "lines": lines, "form": form, "back": back}
    status = 422 if form.is_bound else 200
    return render(request, "clinic/keep_apart.html", context, status=status)


@open_to(*REGISTRARS)
@once
@require_POST
def end_kept_apart(request: HttpRequest, pk: int) -> HttpResponse:
    """Take it back: the two may be one person after all."""
    kept = get_object_or_404(KeptApart.objects.select_related("one", "other"), pk=pk)
    about(request, kept.one_id, kept.other_id)
    keep_apart.end(kept, at=now(), by_id=member(request).pk)
    messages.success(
        request,
        f"{kept.one.full_name} and {kept.other.full_name} are not kept apart any more.",
    )
    return HttpResponseRedirect(way_back(request, reverse("duplicates")))


def two_records(request: HttpRequest, pk: int, other: int) -> tuple[Patient, Patient]:
    """Return two records that are not merged, the older one first; not found if it is one only."""
    rows = {patient.pk: patient for patient in Patient.objects.filter(pk__in=[pk, other])}
    found = [patient for _, patient in sorted(rows.items()) if patient.merged_into_id is None]
    if len(found) != 2:
        raise Http404
    about(request, found[0].pk, found[1].pk)
    return found[0], found[1]


def _show(request: HttpRequest) -> HttpResponse:
    page = _page(request, pairs().select_related("one", "other"), "page")
    context = {
        "pairs": read_pairs(list(page)),
        "page": page,
        "apart": _page(request, kept_apart(), "apart"),
        "merges": _page(request, merges(), "merges"),
        "waiting": waiting().on_the_register().count(),  # type: ignore[attr-defined]
        "records": Patient.objects.on_the_register().count(),
        "may_decide": member(request).role in REGISTRARS,
        "here": request.get_full_path(),
        "zone": current().zone,
        "at": now(),
    }
    return render(request, "clinic/duplicates.html", context)


def _page(request: HttpRequest, rows: QuerySet[Row], name: str) -> Page[Row]:
    return Paginator(rows, ROWS).get_page(request.GET.get(name))
