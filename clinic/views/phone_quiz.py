"""Read the quiz to a patient on the phone: what to say, and a field for each answer.

Each press of Enter keeps what was typed. The name and date of birth that the patient says are not
kept with the answers: until the quiz is handed in they are in a signed cookie of this browser.
"""

from datetime import datetime

from django.conf import settings
from django.contrib import messages
from django.core import signing
from django.db import DatabaseError, transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from clinic.access import about, member
from clinic.entered import what_came_of
from clinic.forms.entry import AnswersForm
from clinic.once import once
from clinic.roles import CARERS
from clinic.views.other_ways import asked_about, refused
from education.enter import enter, keep
from education.invite import Refusal
from education.models import Attempt, Invitation
from education.other_ways import attempt_of, call, language_for
from education.personal_link import LinkState, link_state
from education.rules.quiz_way import Way
from education.shown import questions
from education.take import answers_given, overtaken_by
from patients.clock import local_date, now
from patients.models import Programme
from patients.open_to import open_to
from patients.programme import current

COOKIE = "said"
COOKIE_AGE = 2 * 60 * 60  # seconds: a long call
SAID = ("given_names", "family_names", "month", "day", "year")
LONGEST_SAID = 250  # characters of one of them


@open_to(*CARERS)
@once
@require_POST
def phone_begin(request: HttpRequest, pk: int) -> HttpResponse:
    """Begin to read the quiz, or go on with the one that was begun."""
    assignment = asked_about(request, pk)
    begun = call(assignment, at=now(), by_id=member(request).pk)
    if isinstance(begun, Refusal):
        return refused(request, assignment, begun)
    return HttpResponseRedirect(reverse("phone-quiz", args=[begun.pk]))


@open_to(*CARERS)
def phone_quiz(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the script; POST keeps the answers as they come, or hands the quiz in.

    Not by a key of the form: what can be read is kept though something else cannot, and keeping or
    handing in twice is as once by itself.
    """
    at, used = now(), current()
    rows = Invitation.objects.filter(way=Way.PHONE).select_related(
        "assignment__operation__patient", "assignment__module", "end"
    )
    invitation = get_object_or_404(rows, pk=pk)
    about(request, invitation.assignment.operation.patient_id)
    attempt = attempt_of(invitation)
    if request.method == "POST" and hasattr(attempt, "submission"):
        return HttpResponseRedirect(reverse("phone-quiz", args=[invitation.pk]))
    handed_in = getattr(attempt, "submission", None) or overtaken_by(attempt)
    if handed_in or link_state(invitation, at=at) != LinkState.GOOD:
        context = {
            "call": invitation,
            "patient": invitation.assignment.operation.patient,
            "title": attempt.edition.title["en"],
            "came": what_came_of(handed_in, zone=used.zone) if handed_in else None,
            "overtaken": handed_in and handed_in.attempt_id != attempt.pk,
            "zone": used.zone,
        }
        status = 409 if request.method == "POST" else 200
        return render(request, "clinic/phone_over.html", context, status=status)
    if request.method != "POST":
        return _show(request, invitation, attempt, at=at, used=used)
    return _typed(request, invitation, attempt, at=at, used=used)


def _typed(
    request: HttpRequest, invitation: Invitation, attempt: Attempt, *, at: datetime, used: Programme
) -> HttpResponse:
    form = _form(request, invitation, attempt, at=at, used=used)
    form.is_valid()
    handing_in = "hand_in" in request.POST or "blanks" in request.POST
    if not handing_in:  # what was said may still be half a name
        for name in SAID:
            form.errors.pop(name, None)
    wrong = bool(form.errors)
    try:
        with transaction.atomic():
            keep(attempt, form.answers, at=at)
            if not wrong and handing_in and (not form.blank or form.blanks_told):
                enter(
                    attempt,
                    form.answers,
                    form.typed(),
                    language=_language(request, invitation),
                    at=at,
                    by_id=member(request).pk,
                )
                return _handed_in(request, invitation)
    except DatabaseError:
        return _page(request, invitation, attempt, form, status=503)
    if wrong or handing_in:
        return _page(request, invitation, attempt, form, status=422, ask=not wrong)
    ahead = f"#id_q{form.blank[0]}" if form.blank else "#hand-in"
    query = {"l": _language(request, invitation), "at": form.blank[0] if form.blank else "end"}
    address = reverse("phone-quiz", args=[invitation.pk], query=query)
    response = HttpResponseRedirect(f"{address}{ahead}")
    said = {name: form.data.get(name, "")[:LONGEST_SAID] for name in SAID}
    response.set_cookie(
        COOKIE,
        signing.dumps(said, salt=_salt(invitation), compress=True),
        max_age=COOKIE_AGE,
        path=reverse("phone-quiz", args=[invitation.pk]),
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Strict",
    )
    return response


def _handed_in(request: HttpRequest, invitation: Invitation) -> HttpResponse:
    messages.success(request, "Handed in.")
    address = reverse("phone-quiz", args=[invitation.pk])
    response = HttpResponseRedirect(address)
    response.delete_cookie(COOKIE, path=address, samesite="Strict")
    return response


def _show(
    request: HttpRequest, invitation: Invitation, attempt: Attempt, *, at: datetime, used: Programme
) -> HttpResponse:
    form = _form(request, invitation, attempt, at=at, used=used)
    return _page(request, invitation, attempt, form)


def _form(
    request: HttpRequest, invitation: Invitation, attempt: Attempt, *, at: datetime, used: Programme
) -> AnswersForm:
    return AnswersForm(
        request.POST if request.method == "POST" else None,
        on=local_date(at, used.zone),
        questions=questions(attempt, _language(request, invitation)),
        saved=answers_given(attempt),
        initial=_said(request, invitation),
    )


def _page(
    request: HttpRequest,
    invitation: Invitation,
    attempt: Attempt,
    form: AnswersForm,
    *,
    status: int = 200,
    ask: bool = False,
) -> HttpResponse:
    language = _language(request, invitation)
    context = {
        "call": invitation,
        "a": invitation.assignment,
        "patient": invitation.assignment.operation.patient,
        "title": attempt.edition.title[language],
        "language": language,
        "languages": attempt.edition.languages,
        "form": form,
        "rows": form.rows(),
        "go_to": request.GET.get("at", "") if not form.is_bound else "",
        "ask": ask,
        "not_saved": status == 503,
    }
    return render(request, "clinic/phone_quiz.html", context, status=status)


def _language(request: HttpRequest, invitation: Invitation) -> str:
    """The language that is read in: as chosen on the page, else the patient's."""
    wanted = request.POST.get("l") or request.GET.get("l")
    assignment = invitation.assignment
    return language_for(assignment, wanted or assignment.operation.patient.language)


def _said(request: HttpRequest, invitation: Invitation) -> dict[str, str]:
    """Return what the patient said at the beginning of this call, as it was typed here."""
    try:
        said: dict[str, str] = signing.loads(
            request.COOKIES.get(COOKIE, ""), salt=_salt(invitation), max_age=COOKIE_AGE
        )
    except signing.BadSignature:
        return {}
    return said


def _salt(invitation: Invitation) -> str:
    return f"phone-quiz:{invitation.pk}"
