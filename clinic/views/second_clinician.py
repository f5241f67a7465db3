"""The second clinician agrees to a sign-off or waiver, or declines it; a sign-off is taken back."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404
from django.urls import reverse

from clinic.access import about, member
from clinic.day_words import day
from clinic.forms.acts import ReasonForm, SecondOpinionForm
from clinic.once import once
from clinic.roles import CLINICIANS
from clinic.second_opinions import waiting
from clinic.views.acts import ActPage, ask, go_back
from clinic.words import STANDING
from education import clear
from education.models import Assignment, SignOff, Waiver
from education.standings import standing_of
from education.titles import titles
from patients.clock import local_date, now
from patients.open_to import open_to
from patients.programme import current, local_day


@open_to(*CLINICIANS)
@once
def second_opinion(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what one clinician accepted for an assignment; another one agrees or declines."""
    rows = Assignment.objects.select_related("operation__patient", "module")
    assignment = get_object_or_404(rows, pk=pk)
    patient = assignment.operation.patient
    about(request, patient.pk)
    accepted = waiting([assignment]).get(assignment.pk)
    form = SecondOpinionForm(
        request.POST or None, initial={"of": _mark(accepted) if accepted else ""}
    )
    if accepted is None:
        return _said(request, assignment, "Nothing waits for a second clinician any more.")
    if accepted.by_id == member(request).pk:
        return _said(request, assignment, "You accepted it yourself: another clinician has to say.")
    if request.method == "POST" and form.is_valid():
        if form.cleaned_data["of"] != _mark(accepted):
            return _said(request, assignment, "It is not what you were shown any more. Look again.")
        return _give(request, assignment, accepted, form)
    page = ActPage(
        "Agree as the second clinician, or decline",
        _says(accepted, assignment),
        "Say so",
        patient,
    )
    return ask(request, page, form)


@open_to(*CLINICIANS)
@once
def revoke_sign_off(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a sign-off back."""
    rows = SignOff.objects.select_related("assignment__operation__patient", "clearance")
    accepted = get_object_or_404(rows, pk=pk)
    patient = accepted.assignment.operation.patient
    about(request, patient.pk)
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        clear.revoke_sign_off(
            accepted, reason=form.cleaned_data["reason"], at=now(), by_id=member(request).pk
        )
        messages.success(request, f"The sign-off is taken back. {_stands(accepted.assignment)}")
        return go_back(request, patient=patient)
    says = (
        f"The late clearance of {day(accepted.clearance.cleared_on)} waits for a sign-off again.",
        "An OR date confirmed on it shows up for the coordinator today.",
    )
    return ask(request, ActPage("Take a sign-off back", says, "Take it back", patient), form)


def _give(
    request: HttpRequest,
    assignment: Assignment,
    accepted: SignOff | Waiver,
    form: SecondOpinionForm,
) -> HttpResponse:
    agrees = form.cleaned_data["answer"] == form.AGREE
    try:
        clear.give_second_opinion(
            accepted,
            agrees=agrees,
            reason=form.cleaned_data["reason"],
            at=now(),
            by_id=member(request).pk,
        )
    except (clear.NothingWaits, clear.SameClinician):
        return _said(request, assignment, "Somebody else was faster: nothing was changed.")
    messages.success(request, f"{'Agreed' if agrees else 'Declined'}. {_stands(assignment)}")
    return go_back(request, assignment)


def _mark(accepted: SignOff | Waiver) -> str:
    return f"{type(accepted).__name__.lower()}-{accepted.pk}"


def _says(accepted: SignOff | Waiver, assignment: Assignment) -> tuple[str, ...]:
    title = titles([assignment.module_id]).get(assignment.module_id, assignment.module.code)
    on = day(local_date(accepted.recorded_at, current().zone))
    if isinstance(accepted, Waiver):
        what = f"{accepted.by} waived “{title}” for this operation on {on}."
    else:
        cleared = day(accepted.clearance.cleared_on)
        what = f"{accepted.by} signed off the late clearance of “{title}”, of {cleared}, on {on}."
    return (
        what,
        f"The reason: {accepted.reason}",
        "It counts from the moment that you agree. Declined, it never counts.",
    )


def _said(request: HttpRequest, assignment: Assignment, text: str) -> HttpResponse:
    messages.warning(request, text)
    return HttpResponseRedirect(reverse("patient", args=[assignment.operation.patient_id]))


def _stands(assignment: Assignment) -> str:
    told = standing_of(
        Assignment.objects.select_related("operation").get(pk=assignment.pk), on=local_day(now())
    )
    return f"It stands at: {STANDING[told.answer.standing]}."
