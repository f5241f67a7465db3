"""The acts of the identity review: say whose a submission is, undo that, leave it with a note."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.html import format_html
from django.views.decorators.http import require_POST

from clinic.access import about, member
from clinic.alarms import who_is_told
from clinic.day_words import day
from clinic.forms.acts import ReasonForm
from clinic.forms.decide import NOBODY, DecideForm, NoteForm
from clinic.ids import id_in
from clinic.look_again import resting_on
from clinic.once import once
from clinic.roles import CARERS
from clinic.submissions import (
    assignments_of,
    clearances_by,
    in_force,
    next_after,
    passed_words,
    typed_name,
)
from clinic.views.submissions import Sent, considered, find, submission_page
from education import identify
from education.models import IdentityDecision, Submission
from education.standings import standings
from patients.clock import now
from patients.models import Patient
from patients.open_to import open_to
from patients.programme import local_day
from patients.speaks_for import locked_speaker


@open_to(*CARERS)
@once
@require_POST
def decide_identity(request: HttpRequest, pk: int) -> HttpResponse:
    """A member of staff says whose it is."""
    chosen = _chosen(request.POST.get("person", ""))
    if chosen:
        locked_speaker(chosen)  # not corrected, merged or parted between our look and our act
    row = find(request, pk)
    if in_force(row):
        return _overtaken(request, pk)
    now_shown = considered(request, row)
    if request.POST.get("seen", now_shown.seen) != now_shown.seen:
        note = request.POST.get("note", "")
        return submission_page(request, row, Sent(note=note, changed=True))
    shown = [suggested.patient.pk for suggested in now_shown.suggested]
    searched = [suggested.patient.pk for suggested in now_shown.searched]
    form = DecideForm(request.POST, people=shown, searched=searched)
    if not form.is_valid():
        return submission_page(request, row, _sent_back(request, form))
    try:
        said = _decide(request, row, **form.cleaned_data)
    except identify.DecidedMeanwhile:
        return _overtaken(request, pk)
    undo = reverse("undo-identity", args=[pk])
    messages.success(request, format_html('{} <a href="{}">Undo</a>', said, undo))
    return _to_next(row)


@open_to(*CARERS)
@once
def undo_identity(request: HttpRequest, pk: int) -> HttpResponse:
    """Take back the decision in force, and the clearance that rests on it."""
    row = find(request, pk)
    decision = in_force(row)
    if request.method != "POST":
        return submission_page(request, row, Sent(undo=ReasonForm()))
    if decision is None or request.POST.get("decision", str(decision.pk)) != str(decision.pk):
        return _overtaken(request, pk)  # the page was older than the decision
    form = ReasonForm(request.POST)
    if not form.is_valid():
        return submission_page(request, row, Sent(undo=form))
    try:
        said = _undo(request, row, decision, reason=form.cleaned_data["reason"])
    except identify.DecidedMeanwhile:
        return _overtaken(request, pk)
    messages.success(request, said)
    return HttpResponseRedirect(reverse("submission", args=[pk]))


@open_to(*CARERS)
@once
@require_POST
def note_submission(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep a note on it; an undecided one is left undecided."""
    row = find(request, pk)
    form = NoteForm(request.POST)
    if not form.is_valid():
        return submission_page(request, row, _sent_back(request, form))
    note = form.cleaned_data["note"]
    identify.leave_note(row, note, at=now(), by_id=member(request).pk)
    if in_force(row):
        messages.success(request, "Your note is kept.")
        return HttpResponseRedirect(reverse("submission", args=[pk]))
    messages.success(request, f"Left with your note: {typed_name(row)} still waits for a decision.")
    return _to_next(row)


def _decide(request: HttpRequest, row: Submission, *, person: str, note: str) -> str:
    """Decide, and return a sentence that names what happened."""
    at, by_id = now(), member(request).pk
    if person == NOBODY:
        identify.not_a_patient(row, at=at, by_id=by_id, note=note)
        return f"Kept as not a patient of ours: {typed_name(row)}."
    patient = get_object_or_404(Patient, pk=int(person))
    about(request, patient.pk)
    decision = identify.match(row, patient, at=at, by_id=by_id, note=note)
    whose = decision.patient or patient  # two records may have become one meanwhile
    who = f"{whose.full_name}, MRN {whose.mrn}"
    said = f"Decided: it is the quiz of {who}, typed as {typed_name(row)}."
    cleared = clearances_by(decision)
    if not cleared:
        return f"{said} It was failed, so it clears nobody."
    told = standings(assignments_of(row, whose), on=local_day(at))
    return f"{said} {passed_words(cleared[0].cleared_on, told)}"


def _undo(request: HttpRequest, row: Submission, decision: IdentityDecision, *, reason: str) -> str:
    """Undo, and return a sentence that names what happened and who is told."""
    at = now()
    ending = [c for c in clearances_by(decision) if not hasattr(c, "revocation")]
    resting = resting_on(ending, at=at)
    told = sorted({who.name for one in resting for who in who_is_told(one.confirmation)})
    identify.undo(row, at=at, by_id=member(request).pk, reason=reason, seen=decision.pk)
    said = f"Undone: {typed_name(row)} waits for a decision again."
    if ending:
        said += f" The clearance of {day(ending[0].cleared_on)} that rested on it is revoked."
    if told:
        said += f" Told by email, because of a confirmed OR date: {', '.join(told)}."
    return said


def _sent_back(request: HttpRequest, form: DecideForm | NoteForm) -> Sent:
    """The form has errors: what was chosen and typed is kept."""
    given = request.POST
    return Sent(decide=form, person=given.get("person", ""), note=given.get("note", ""))


def _overtaken(request: HttpRequest, pk: int) -> HttpResponse:
    """Somebody else was faster: show what they did, and keep what was typed."""
    given = request.POST
    kept = given.get("reason") or given.get("note") or ""
    sent = Sent(overtaken=_wanted(given.get("person")), note=kept)
    return submission_page(request, find(request, pk), sent)


def _wanted(person: str | None) -> str:
    """Return what was asked for in vain, in words."""
    if person is None:
        return "undo the decision"
    if person == NOBODY:
        return "not a patient of ours"
    patient = _chosen(person)
    return f"{patient.full_name}, MRN {patient.mrn}" if patient else "nobody yet"


def _chosen(person: str) -> Patient | None:
    return Patient.objects.filter(pk=id_in(person)).first()


def _to_next(row: Submission) -> HttpResponse:
    """Go back to the review, at the next one."""
    following = next_after(row)
    query = {"from": following} if following else None
    return HttpResponseRedirect(reverse("submissions", query=query))
