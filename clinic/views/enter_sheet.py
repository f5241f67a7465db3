"""Enter a quiz that came back on paper: type the code, then what the sheet says."""

from datetime import datetime

from django.contrib import messages
from django.db import DatabaseError, transaction
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse

from clinic.access import about, member
from clinic.entered import what_came_of
from clinic.forms.entry import AnswersForm, CodeForm
from clinic.once import once
from clinic.roles import CARERS
from education.enter import enter
from education.models import Edition, QuizCode
from education.other_ways import MAY_BE_ENTERED, Sheet, SheetState, sheet_of
from education.rules.quiz_code import CodeProblem, read_code
from education.rules.quiz_way import Way
from education.shown import questions
from education.take import superseded
from patients.clock import local_date, now
from patients.models import Programme
from patients.open_to import open_to
from patients.programme import current


@open_to(*CARERS)
def enter_code(request: HttpRequest) -> HttpResponse:
    """Ask for the code of a sheet; a wrong one is said at once."""
    form = CodeForm(request.GET if "code" in request.GET else None)
    if form.is_bound and form.is_valid():
        code = form.cleaned_data["code"]
        way = QuizCode.objects.filter(code=code).values_list("invitation__way", flat=True).first()
        if way == Way.PAPER:
            return HttpResponseRedirect(reverse("enter-sheet", args=[code]))
        unknown = "No sheet has this code. Compare it with the sheet."
        screen = "This code opens a shared screen: type it there, not here."
        form.add_error("code", screen if way else unknown)
    status = 422 if form.errors else 200
    return render(request, "clinic/enter_code.html", {"form": form}, status=status)


@open_to(*CARERS)
@once
def enter_sheet(request: HttpRequest, code: str) -> HttpResponse:
    """Show the form of a sheet, or what came of it; POST hands it in, once."""
    at, used = now(), current()
    sheet = _sheet(code, at=at)
    about(request, sheet.code.invitation.assignment.operation.patient_id)
    if sheet.state not in MAY_BE_ENTERED:
        status = 409 if request.method == "POST" else 200
        return _closed(request, sheet, used, status=status)
    form = _form(request, sheet, at=at, used=used)
    if request.method != "POST":
        return _page(request, sheet, form, used)
    if not form.is_valid():
        return _page(request, sheet, form, used, status=422)
    if form.blank and not form.blanks_told:
        return _page(request, sheet, form, used, status=422, ask=True)
    try:
        with transaction.atomic():
            enter(
                sheet.attempt,
                form.answers,
                form.typed(),
                language=sheet.code.language,
                at=at,
                by_id=member(request).pk,
                answered_on=form.cleaned_data["answered_on"],
            )
    except DatabaseError:
        return _page(request, sheet, form, used, status=503)
    messages.success(request, "Entered.")
    return HttpResponseRedirect(reverse("enter-sheet", args=[sheet.code.code]))


def _sheet(code: str, *, at: datetime) -> Sheet:
    read = read_code(code)
    sheet = None if isinstance(read, CodeProblem) else sheet_of(read, at=at)
    if sheet is None:
        raise Http404
    return sheet


def _form(request: HttpRequest, sheet: Sheet, *, at: datetime, used: Programme) -> AnswersForm:
    invitation = sheet.code.invitation
    today = local_date(at, used.zone)
    last = min(today, local_date(invitation.expires_at, used.zone))
    return AnswersForm(
        request.POST if request.method == "POST" else None,
        on=today,
        questions=questions(sheet.attempt, sheet.code.language),
        filled_in=(local_date(invitation.recorded_at, used.zone), last),
    )


def _page(
    request: HttpRequest,
    sheet: Sheet,
    form: AnswersForm,
    used: Programme,
    *,
    status: int = 200,
    ask: bool = False,
) -> HttpResponse:
    edition: Edition = sheet.attempt.edition
    context = {
        "sheet": sheet,
        "form": form,
        "rows": form.rows(),
        "title": edition.title[sheet.code.language],
        "language": sheet.code.language,
        "ask": ask,
        "not_saved": status == 503,
        "expired": sheet.state == SheetState.EXPIRED,
        "superseded": superseded(edition) if status != 503 else False,
        "zone": used.zone,
    }
    return render(request, "clinic/enter_sheet.html", context, status=status)


def _closed(request: HttpRequest, sheet: Sheet, used: Programme, *, status: int) -> HttpResponse:
    """Say what came of a sheet, or why it cannot be entered any more."""
    handed_in = sheet.submission or sheet.overtaken_by
    context = {
        "sheet": sheet,
        "title": sheet.attempt.edition.title[sheet.code.language],
        "came": what_came_of(handed_in, zone=used.zone) if handed_in else None,
        "zone": used.zone,
    }
    return render(request, "clinic/sheet_closed.html", context, status=status)
