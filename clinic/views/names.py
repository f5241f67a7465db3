"""The other names of a patient: keep one, end one."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404
from django.urls import reverse

from clinic.access import about, member
from clinic.comparison import name_words
from clinic.forms.acts import ReasonForm
from clinic.forms.names import OtherNameForm
from clinic.once import once
from clinic.roles import CARERS
from clinic.submissions import disagreeing_words, followed_words
from clinic.views.acts import ActPage, ask, go_back
from education.models import MATCHED, IdentityDecision
from patients import other_names
from patients.clock import now
from patients.models import OtherName, Patient
from patients.open_to import open_to
from patients.rules.identity import NameKind
from patients.rules.names import normal_name
from patients.speaks_for import MergedMeanwhile


@open_to(*CARERS)
@once
def add_other_name(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep a former or preferred name of a patient."""
    patient = get_object_or_404(Patient.objects.on_the_register(), pk=pk)
    about(request, patient.pk)
    form = OtherNameForm(request.POST or None, patient=patient)
    if request.method == "POST" and form.is_valid():
        given, at = form.cleaned_data, now()
        try:
            name = other_names.add(
                patient,
                kind=NameKind(given["kind"]),
                given_names=given["given_names"],
                family_names=given["family_names"],
                source=given["source"],
                at=at,
                by_id=member(request).pk,
            )
        except MergedMeanwhile as merged:
            messages.warning(request, "Not kept: the record was merged into this one meanwhile.")
            return HttpResponseRedirect(reverse("patient", args=[merged.speaker.pk]))
        messages.success(request, f"Kept: {name_words(name)}.{followed_words(at)}")
        return go_back(request, patient=patient)
    says = (
        "The patient is found under it from now on, and a quiz that waits for its owner is "
        "matched anew. The name in the record stays as it is.",
    )
    return ask(request, ActPage("Keep another name", says, "Keep this name", patient), form)


@open_to(*CARERS)
@once
def end_other_name(request: HttpRequest, pk: int) -> HttpResponse:
    """Say that a name was never right, or is not to be used any more."""
    name = get_object_or_404(OtherName.objects.select_related("patient"), pk=pk)
    patient = name.patient
    about(request, patient.pk)
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        reason, at = form.cleaned_data["reason"], now()
        ended = other_names.end(name, reason=reason, at=at, by_id=member(request).pk)
        said = f"{'Ended' if ended else 'It had been ended'}: {name_words(name)}."
        messages.success(request, f"{said}{followed_words(at)}{disagreeing_words(patient)}")
        return go_back(request, patient=patient)
    says = (
        f"“{name_words(name)}” takes no part in matching any more. It stays in the history.",
        *_rest_on_it(name),
    )
    return ask(request, ActPage("End a name", says, "End this name", patient), form)


def _rest_on_it(name: OtherName) -> list[str]:
    """Say how many quizzes were matched to the patient although they carry this name."""
    typed = normal_name(name.given_names, name.family_names)
    decisions = IdentityDecision.objects.in_force(patient=name.patient, verdict__in=MATCHED)
    count = sum(
        normal_name(d.submission.given_names, d.submission.family_names) == typed
        for d in decisions.select_related("submission")
    )
    if not count:
        return []
    said = "1 quiz that was typed under this name stays matched to the patient"
    undo = "undo that decision: it stands in the history"
    if count > 1:
        said = f"{count} quizzes that were typed under this name stay matched to the patient"
        undo = "undo those decisions: they stand in the history"
    return [f"{said}. If the name was somebody else’s, {undo}."]
