"""The acts on one patient: link, contact, revoke, sign off, waive, correct.

Each is one form, one act, and a way back to where it was asked for.
"""

from dataclasses import dataclass
from urllib.parse import urlsplit

from django import forms
from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from clinic.access import about, member
from clinic.day_words import day
from clinic.forms.acts import ContactForm, ReasonForm
from clinic.forms.correct import CorrectForm
from clinic.ids import id_in
from clinic.look_again import resting_on, same_evidence
from clinic.once import once
from clinic.roles import CARERS, CLINICIANS
from clinic.submissions import disagreeing_words, followed_words
from clinic.words import REFUSAL, STANDING
from education import clear
from education.invite import Refusal, invite
from education.models import Assignment, Clearance, Edition, Invitation, Waiver
from education.personal_link import LinkState, link_state
from education.standings import standing_of
from education.titles import titles
from patients import other_names
from patients.clock import now
from patients.contact import log_contact
from patients.models import Means, Outcome, Patient, PatientChange
from patients.open_to import open_to
from patients.programme import local_day
from patients.register import FIELDS, correct
from patients.speaks_for import MergedMeanwhile, speaker

SECOND = " It counts once a second clinician has agreed."


@dataclass(frozen=True)
class ActPage:
    """What a form's page says: the question, what pressing the button does, and its name."""

    heading: str
    says: tuple[str, ...]
    button: str
    patient: Patient


@open_to(*CARERS)
@once
@require_POST
def send_link(request: HttpRequest, pk: int) -> HttpResponse:
    """Invite one patient, now."""
    assignment = _assignment(request, pk)
    patient = assignment.operation.patient
    sent = invite(assignment, at=now(), by_id=member(request).pk)
    if isinstance(sent, Refusal):
        _say(request, f"Not sent to {patient.full_name}: {REFUSAL[sent]}.", assignment, well=False)
    else:
        _say(request, f"Link on its way to {patient.full_name}, {sent.address}.", assignment)
    return go_back(request, assignment)


@open_to(*CARERS)
@once
def contact(request: HttpRequest, pk: int) -> HttpResponse:
    """Log one attempt to reach a patient."""
    record = _patient(request, pk)
    patient = speaker(record)
    about(request, patient.pk, *({record.pk} - {patient.pk}))
    assignment = _named_assignment(request, patient)
    at = now()
    form = ContactForm(request.POST or None, on=local_day(at))
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        log_contact(
            patient,
            means=Means(given["means"]),
            outcome=Outcome(given["outcome"]),
            note=given["note"],
            next_on=given["next_on"],
            at=at,
            by_id=member(request).pk,
        )
        outcome = Outcome(given["outcome"]).label.lower()
        _say(request, f"Logged for {patient.full_name}: {outcome}.", assignment)
        return go_back(request, assignment, patient)
    says = (f"Phone: {patient.phone or 'none on file'}.",)
    return ask(request, ActPage("Log a contact", says, "Log this contact", patient), form)


@open_to(*CARERS)
@once
def revoke_clearance(request: HttpRequest, pk: int) -> HttpResponse:
    """Say that a clearance no longer holds."""
    rows = Clearance.objects.select_related("patient", "module")
    clearance = get_object_or_404(rows, pk=pk)
    about(request, clearance.patient_id)
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        reason = form.cleaned_data["reason"]
        clear.revoke(clearance, reason=reason, at=now(), by_id=member(request).pk)
        _say(request, f"The clearance of {day(clearance.cleared_on)} is revoked.")
        return go_back(request, patient=clearance.patient)
    title = titles({clearance.module_id}).get(clearance.module_id, "")
    says = (
        f"{title}: the clearance of {day(clearance.cleared_on)} stops counting at once.",
        *(one.words for one in resting_on(same_evidence(clearance), at=now())),
        "An OR date confirmed on it shows up for the coordinator today.",
    )
    page = ActPage("Revoke a clearance", says, "Revoke it", clearance.patient)
    return ask(request, page, form)


@open_to(*CLINICIANS)
@once
def sign_off(request: HttpRequest, pk: int) -> HttpResponse:
    """A clinician accepts a clearance that came after the clear-by date."""
    assignment = _assignment(request, pk)
    patient = assignment.operation.patient
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            accepted = clear.sign_off(
                assignment,
                reason=form.cleaned_data["reason"],
                at=now(),
                by_id=member(request).pk,
            )
            waits = SECOND if accepted.needs_second else ""
            _say(request, f"Signed off for {patient.full_name}. {_stands(assignment)}{waits}")
        except clear.NothingToSignOff:
            _say(request, f"Nothing to sign off any more. {_stands(assignment)}", well=False)
        return go_back(request, assignment)
    says = (f"A late clearance of {_title(assignment)} then counts for this operation.",)
    return ask(request, ActPage("Sign off a late clearance", says, "Sign off", patient), form)


@open_to(*CLINICIANS)
@once
def waive(request: HttpRequest, pk: int) -> HttpResponse:
    """A clinician says that this operation needs no clearance for this module."""
    assignment = _assignment(request, pk)
    patient = assignment.operation.patient
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        reason = form.cleaned_data["reason"]
        waiver = clear.waive(assignment, reason=reason, at=now(), by_id=member(request).pk)
        waits = SECOND if waiver.needs_second else ""
        _say(request, f"Waived for {patient.full_name}. {_stands(assignment)}{waits}")
        return go_back(request, assignment)
    says = (f"The operation can then go ahead without {_title(assignment)}.",)
    return ask(request, ActPage("Waive a module", says, "Waive it", patient), form)


@open_to(*CLINICIANS)
@once
def revoke_waiver(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a waiver back."""
    rows = Waiver.objects.select_related("assignment__operation__patient")
    waiver = get_object_or_404(rows, pk=pk)
    patient = waiver.assignment.operation.patient
    about(request, patient.pk)
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        reason = form.cleaned_data["reason"]
        clear.revoke_waiver(waiver, reason=reason, at=now(), by_id=member(request).pk)
        _say(request, f"The waiver is taken back. {_stands(waiver.assignment)}")
        return go_back(request, patient=patient)
    says = ("The module is required again, at once.",)
    return ask(request, ActPage("Take a waiver back", says, "Take it back", patient), form)


@open_to(*CARERS)
@once
def correct_patient(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct the record; links to another address die with it."""
    patient = _patient(request, pk)
    if patient.merged_into:
        return _not_corrected(request, patient, patient.merged_into)
    at = now()
    shown = _shown(request, patient)
    record = {field: getattr(shown, field) for field in FIELDS} | {"seen": shown.pk}
    form = CorrectForm(request.POST or None, initial=record, on=local_day(at))
    links = [link for link in _open_links(patient) if link_state(link, at=at) == LinkState.GOOD]
    if request.method == "POST" and form.is_valid():
        # What somebody else corrected while this page was open stays.
        facts = {k: form.cleaned_data[k] for k in form.changed_data if k in FIELDS}
        source, by_id = form.cleaned_data["source"], member(request).pk
        try:
            with transaction.atomic():
                patient = correct(patient, at=at, source=source, by_id=by_id, **facts)
                if form.keeps_earlier_name:
                    other_names.keep_former(patient, shown, at=at, source=source, by_id=by_id)
        except MergedMeanwhile as merged:
            return _not_corrected(request, patient, merged.speaker)
        dead = [link for link in links if link.address.lower() != patient.email.lower()]
        said = f"The record is corrected.{_dead_links(len(dead))}{followed_words(at)}"
        _say(request, f"{said}{disagreeing_words(patient)}")
        return go_back(request, patient=patient)
    says = (
        _links_warning(links),
        "What stood here before stays on record. "
        "A quiz that waits for its owner is matched anew against the corrected record.",
    )
    return ask(request, ActPage("Correct the record", says, "Correct it", patient), form)


def _shown(request: HttpRequest, patient: Patient) -> PatientChange:
    """Return the record as the form was filled in with it, as that says; else as it is now."""
    rows = patient.changes.order_by("-pk")
    return rows.filter(pk=id_in(request.POST.get("seen", ""))).first() or rows[0]


def _not_corrected(request: HttpRequest, record: Patient, speaks: Patient) -> HttpResponse:
    """What was typed about a merged record must not overwrite the one that speaks for it."""
    merged = f"MRN {record.mrn} was merged into MRN {speaks.mrn}, which is the one to correct."
    _say(request, f"Nothing was corrected. {merged}", well=False)
    return HttpResponseRedirect(reverse("patient", args=[speaks.pk]))


def _open_links(patient: Patient) -> list[Invitation]:
    rows = Invitation.objects.filter(assignment__operation__patient=patient, end__isnull=True)
    return list(rows.select_related("assignment__operation__patient"))


def _links_warning(links: list[Invitation]) -> str:
    if not links:
        return "No link is open, so a new email address changes no link."
    return (
        f"{_links(len(links))} open. If you change the email address, every link that went to the "
        "old one stops working at once; send a new one afterwards."
    )


def _dead_links(count: int) -> str:
    if not count:
        return ""
    return f" {_links(count)} now dead, because the address changed: send a new one."


def _links(count: int) -> str:
    return "1 link is" if count == 1 else f"{count} links are"


def _assignment(request: HttpRequest, pk: int) -> Assignment:
    rows = Assignment.objects.select_related("operation__patient", "module")
    assignment = get_object_or_404(rows, pk=pk)
    about(request, assignment.operation.patient_id)
    return assignment


def _patient(request: HttpRequest, pk: int) -> Patient:
    patient = get_object_or_404(Patient, pk=pk)
    about(request, patient.pk)
    return patient


def _named_assignment(request: HttpRequest, patient: Patient) -> Assignment | None:
    """The row on the morning list that the request came from, if it came from one."""
    given = request.POST.get("assignment") or request.GET.get("assignment") or ""
    return Assignment.objects.filter(pk=id_in(given), operation__patient=patient).first()


def _stands(assignment: Assignment) -> str:
    told = standing_of(assignment, on=local_day(now()))
    return f"It stands at: {STANDING[told.answer.standing]}."


def _title(assignment: Assignment) -> str:
    latest = Edition.objects.filter(module=assignment.module_id).order_by("-number").first()
    return f"“{latest.title['en']}”" if latest else assignment.module.code


def _say(
    request: HttpRequest, text: str, assignment: Assignment | None = None, *, well: bool = True
) -> None:
    """Keep a sentence for the next page; on the morning list it stands in the patient's row."""
    level = messages.SUCCESS if well else messages.WARNING
    messages.add_message(request, level, text, f"row-{assignment.pk}" if assignment else "")


def way_back(request: HttpRequest, otherwise: str) -> str:
    """Return the page that the act was asked for on, if it is one of ours."""
    given = request.POST.get("back") or request.GET.get("back") or ""
    ours = given.startswith("/") and url_has_allowed_host_and_scheme(given, allowed_hosts=None)
    return given if ours else otherwise


def go_back(
    request: HttpRequest, assignment: Assignment | None = None, patient: Patient | None = None
) -> HttpResponse:
    """Go back to where the act was asked for, to the same row."""
    patient = patient or (assignment.operation.patient if assignment else None)
    otherwise = reverse("patient", args=[patient.pk]) if patient else reverse("morning")
    back = way_back(request, otherwise)
    row = f"#row-{assignment.pk}" if assignment else ""
    return HttpResponseRedirect(urlsplit(back)._replace(fragment="").geturl() + row)


def ask(request: HttpRequest, page: ActPage, form: forms.Form) -> HttpResponse:
    """Show the form of an act; a form that was sent comes back with what is wrong with it."""
    context = {
        "page": page,
        "form": form,
        "patient": page.patient,
        "back": way_back(request, reverse("patient", args=[page.patient.pk])),
        "assignment_id": request.POST.get("assignment") or request.GET.get("assignment") or "",
    }
    status = 422 if form.is_bound else 200
    return render(request, "clinic/act.html", context, status=status)
