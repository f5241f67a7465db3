"""The identity review: the undecided, the oldest first, and one submission with its history."""

from dataclasses import dataclass
from datetime import datetime

from django.core.paginator import Paginator
from django.db import DatabaseError
from django.forms import Form
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from clinic.access import about, member
from clinic.candidates import Considered, weigh
from clinic.ids import id_in
from clinic.look_again import resting_on
from clinic.roles import CARERS, READERS
from clinic.search import find_patients
from clinic.submissions import (
    assignments_of,
    clearances_by,
    decision_words,
    decisions_in_force,
    in_force,
    last_compared,
    latest_decision,
    matched_patient,
    passed_words,
    queue,
    register_changed_at,
    through,
    with_people,
)
from clinic.words import WHY
from education.identify import beside
from education.models import MATCHED, IdentityDecision, Submission
from education.standings import standings
from education.titles import titles
from patients.clock import local_date, now
from patients.models import Patient, Programme
from patients.open_to import open_to
from patients.programme import NotFounded, current
from patients.rules.identity import Policy, Why

DECIDED = 50  # on a page of their own
MOST_FOUND = 20  # patients that a search shows beside the candidates
LAST = 5  # below those that wait, where an act just done can be undone


@dataclass(frozen=True)
class Entry:
    """An undecided submission as the pages show it.

    `compared_at`: when it was last held against the register, if it is asked again by itself.
    `undone`: that a person took a decision about it back.
    """

    considered: Considered
    title: str
    compared_at: datetime | None
    undone: IdentityDecision | None


@dataclass(frozen=True)
class Decided:
    """A submission with its decision in force; `patient` speaks for the record that was meant."""

    submission: Submission
    decision: IdentityDecision
    patient: Patient | None
    words: str


@dataclass(frozen=True)
class Sent:
    """What was sent and not taken, to be shown again on the page.

    `decide` and `undo` are the forms with their errors, `person` and `note` what was chosen and
    typed. `overtaken`: somebody else was faster, and this is what was wanted. `changed`: those who
    were shown are other ones, or otherwise on record, than when the page was shown.
    """

    decide: Form | None = None
    undo: Form | None = None
    person: str = ""
    note: str = ""
    overtaken: str = ""
    changed: bool = False

    @property
    def status(self) -> int:
        """The page's status: a conflict, a form with errors, or nothing wrong."""
        if self.overtaken or self.changed:
            return 409
        return 422 if self.decide or (self.undo and self.undo.is_bound) else 200


@open_to(*READERS)
@require_safe
def submissions(request: HttpRequest) -> HttpResponse:
    """List the undecided, the oldest first, each with its candidates; then the decided."""
    try:
        asked = id_in(request.GET.get("assignment", ""))
        meant = through(asked) if asked else None
        if meant:
            return HttpResponseRedirect(reverse("submission", args=[meant]))
        settings, at = current(), now()
        show_decided = request.GET.get("show") == "decided"
        listed = queue(begin=id_in(request.GET.get("from", "")))
        page = Paginator(decisions_in_force(), DECIDED if show_decided else LAST).get_page(
            request.GET.get("page") if show_decided else 1
        )
        asked_about = [] if show_decided else weigh(listed.rows, at=at, settings=settings)
        context = {
            "listed": listed,
            "entries": _entries(asked_about, settings),
            "show_decided": show_decided,
            "decided": [_decided(one) for one in page.object_list],
            "page": page,
            "may_care": member(request).role in CARERS,
            "zone": settings.zone,
            "at": at,
        }
        return render(request, "clinic/submissions.html", context)
    except (DatabaseError, NotFounded):
        return render(request, "clinic/could_not_load.html", status=503)


@open_to(*READERS)
@require_safe
def submission(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one submission: what was typed, who it could be, what was decided."""
    try:
        return submission_page(request, find(request, pk), Sent())
    except (DatabaseError, NotFounded):
        return render(request, "clinic/could_not_load.html", status=503)


def find(request: HttpRequest, pk: int) -> Submission:
    """Return a submission with its people, and say in the trail whose it is thought to be."""
    row = get_object_or_404(with_people(Submission.objects.all()), pk=pk)
    patient = matched_patient(latest_decision(row))
    about(request, (patient or _link_patient(row)).pk)
    return row


def considered(request: HttpRequest, row: Submission) -> Considered:
    """Return the ranked candidates, and behind them who was searched for."""
    text = _searched(request).strip()
    found = find_patients(text, most=MOST_FOUND) if text else []
    return weigh([row], at=now(), settings=current(), searched=found)[0]


def submission_page(request: HttpRequest, row: Submission, sent: Sent) -> HttpResponse:
    """Return the page of one submission, with what was sent and not taken."""
    settings, at = current(), now()
    on = local_date(at, settings.zone)
    decision = in_force(row)
    patient = matched_patient(decision)
    told = standings(assignments_of(row, patient), on=on) if patient else []
    clearances = clearances_by(decision)
    ending = [c for c in clearances if not hasattr(c, "revocation")]
    then = [WHY[Why(code)] for code in decision.reasons] if decision else []
    today = [WHY[why] for why in beside(row, patient)] if patient else []
    context = {
        "submission": row,
        "title": titles({row.edition.module_id}).get(row.edition.module_id, ""),
        "link_patient": _link_patient(row),
        "decisions": [(d, decision_words(d)) for d in row.decisions.all()],
        "in_force": decision,
        "in_force_words": decision_words(decision) if decision else "",
        "matched": decision is not None and decision.verdict in MATCHED,
        "patient": patient,
        "why": then,
        "today": today if today != then else [],
        "told": told,
        "passed": passed_words(clearances[0].cleared_on, told) if clearances else "",
        "clearance": clearances[0] if clearances else None,
        "resting": resting_on(ending, at=at) if ending else [],
        "entry": None if decision else _entries([considered(request, row)], settings)[0],
        "q": _searched(request),
        "sent": sent,
        "may_care": member(request).role in CARERS,
        "zone": settings.zone,
        "on": on,
        "at": at,
    }
    return render(request, "clinic/submission.html", context, status=sent.status)


def _entries(asked: list[Considered], settings: Programme) -> list[Entry]:
    """What a person undid is left to people; the others that fit nobody are asked again.

    Asking again comes to nothing while the programme lets a person decide about each.
    """
    again = {
        one.submission.pk
        for one in asked
        if one.fits_nobody
        and latest_decision(one.submission) is None
        and settings.matching != Policy.NEVER
    }
    changed_at = register_changed_at() if again else None
    named = titles({one.submission.edition.module_id for one in asked})
    return [
        Entry(
            one,
            named.get(one.submission.edition.module_id, ""),
            last_compared(one.submission, changed_at) if one.submission.pk in again else None,
            latest_decision(one.submission),
        )
        for one in asked
    ]


def _decided(decision: IdentityDecision) -> Decided:
    patient = matched_patient(decision)
    return Decided(decision.submission, decision, patient, decision_words(decision))


def _link_patient(row: Submission) -> Patient:
    return row.attempt.invitation.assignment.operation.patient


def _searched(request: HttpRequest) -> str:
    return (request.POST.get("q") or request.GET.get("q") or "")[:100]
