"""Merge two records that are one person's, and undo it."""

from collections.abc import Collection

from django.contrib import messages
from django.db import DatabaseError
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from clinic.access import about, member
from clinic.comparison import operation_words
from clinic.duplicates import pairs_of
from clinic.forms.acts import ReasonForm
from clinic.forms.duplicates import MergeForm
from clinic.look_again import Resting, resting_on
from clinic.merging import clearance_words, read_merging
from clinic.once import once
from clinic.roles import REGISTRARS
from clinic.search import find_patients
from clinic.submissions import followed_words
from education.carry import stay_after, would_take_back
from education.part import clearances_since, decided_since
from education.titles import titles
from patients.clock import now
from patients.merge import MergeRefused, merge, undo_merge, undo_refusal, would_return
from patients.models import Merge, Operation, Patient
from patients.open_to import open_to
from patients.programme import current


@open_to(*REGISTRARS)
@require_safe
def find_same(request: HttpRequest, pk: int) -> HttpResponse:
    """Find the other record of a patient."""
    try:
        patient = get_object_or_404(Patient.objects.on_the_register(), pk=pk)
        about(request, patient.pk)
        q = request.GET.get("q", "").strip()[:100]
        context = {
            "patient": patient,
            "q": q,
            "found": find_patients(q, without=[patient.pk]),
            "likely": [
                pair.other if pair.one_id == patient.pk else pair.one for pair in pairs_of(patient)
            ],
        }
        return render(request, "clinic/find_same.html", context)
    except DatabaseError:
        return render(request, "clinic/could_not_load.html", status=503)


@open_to(*REGISTRARS)
@once
def merge_two(request: HttpRequest, pk: int, other: int) -> HttpResponse:
    """Show both records and what a merge would do; POST does it."""
    if pk == other:
        raise Http404
    rows = [get_object_or_404(Patient, pk=one) for one in sorted((pk, other))]
    about(request, rows[0].pk, rows[1].pk)
    gone = next((patient for patient in rows if patient.merged_into_id), None)
    if gone:
        messages.warning(request, f"MRN {gone.mrn} was merged into another record. See it here.")
        return HttpResponseRedirect(reverse("patient", args=[gone.merged_into_id]))
    at = now()
    form = MergeForm(request.POST or None)
    kept, merged = _order(request, rows)
    merging = read_merging(kept, merged, at=at)
    overtaken = form.is_bound and form.data.get("seen") != merging.seen
    if form.is_bound and not overtaken and form.is_valid():
        reason = form.cleaned_data["reason"]
        try:
            merge(kept, merged, reason=reason, at=at, by_id=member(request).pk)
        except MergeRefused:
            messages.warning(request, "Nothing was merged: somebody decided meanwhile. See below.")
            return HttpResponseRedirect(reverse("merge", args=[pk, other]))
        said = f"Merged: MRN {merged.mrn} is now part of {kept.full_name}, MRN {kept.mrn}."
        messages.success(request, f"{said}{followed_words(at)}")
        for words in merging.twice:
            said = "Two operations of one procedure are open now; look whether both are meant"
            messages.warning(request, f"{said}: {words}.")
        return HttpResponseRedirect(reverse("patient", args=[kept.pk]))
    context = {
        "merging": merging,
        "kept": kept,
        "merged": merged,
        "form": form,
        "overtaken": overtaken,
        "kept_apart": getattr(merging.refused, "kept_apart", None),
        "here": reverse("merge", args=[pk, other]),
        "zone": current().zone,
    }
    status = 409 if overtaken else 422 if form.is_bound else 200
    return render(request, "clinic/merge.html", context, status=status)


def _order(request: HttpRequest, rows: list[Patient]) -> tuple[Patient, Patient]:
    """Return the record that is kept and the other one; the older, unless asked otherwise."""
    asked = request.POST.get("keep") or request.GET.get("keep") or ""
    one, other = rows
    return (other, one) if asked == str(other.pk) else (one, other)


@open_to(*REGISTRARS)
@once
def undo(request: HttpRequest, pk: int) -> HttpResponse:
    """Say that a merge was a mistake: they are two patients again."""
    done = get_object_or_404(Merge.objects.select_related("kept", "merged", "by"), pk=pk)
    about(request, done.kept_id, done.merged_id)
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        reason, at = form.cleaned_data["reason"], now()
        try:
            undo_merge(done, reason=reason, at=at, by_id=member(request).pk)
        except MergeRefused:
            messages.warning(request, "Nothing was undone: somebody was faster. See below.")
            return HttpResponseRedirect(reverse("undo-merge", args=[pk]))
        mrns = f"MRN {done.kept.mrn} and MRN {done.merged.mrn}"
        messages.success(request, f"Undone: {mrns} are two patients again.{followed_words(at)}")
        return HttpResponseRedirect(reverse("patient", args=[done.kept_id]))
    named, returning = titles(), would_return(done)
    context = {
        "merge": done,
        "resting": [] if hasattr(done, "undone") else _resting(done, returning),
        "later": getattr(undo_refusal(done), "later", None),
        "operations": [operation_words(operation) for operation in returning],
        "clearances": [clearance_words(row, named) for row in would_take_back(done)],
        "quizzes": decided_since(done).count(),
        "stay": [clearance_words(row, named) for row in stay_after(done)],
        "form": form,
        "zone": current().zone,
    }
    status = 422 if form.is_bound else 200
    return render(request, "clinic/undo_merge.html", context, status=status)


def _resting(done: Merge, returning: Collection[Operation]) -> list[Resting]:
    """Return the kept patient's confirmed OR dates that rest on what ends, or is in doubt, then."""
    ending = [*would_take_back(done), *clearances_since(done)]
    return [one for one in resting_on(ending, at=now()) if one.operation not in returning]
