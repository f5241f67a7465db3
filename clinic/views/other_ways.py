"""Give the quiz another way: on paper, here on a shared screen, by telephone. One calm page."""

from datetime import datetime

from django.contrib import messages
from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from clinic.access import about, member
from clinic.once import once
from clinic.roles import CARERS
from clinic.words import REFUSAL
from education.invite import Refusal, refusal
from education.models import Assignment, QuizCode
from education.other_ways import (
    CODE_GOOD,
    SheetState,
    language_for,
    open_screen,
    read_sheet,
    unfinished_call,
)
from education.rules.quiz_way import Way
from education.titles import titles
from patients.clock import now
from patients.open_to import open_to
from patients.programme import current

SHEETS = 10  # the latest ones on the page
HERE = "here"  # the button that opens the quiz on the very screen it is pressed on


def asked_about(request: HttpRequest, pk: int) -> Assignment:
    """Return an assignment with its patient, and say in the trail whose it is."""
    rows = Assignment.objects.select_related("operation__patient", "operation__procedure", "module")
    assignment = get_object_or_404(rows, pk=pk)
    about(request, assignment.operation.patient_id)
    return assignment


def refused(request: HttpRequest, assignment: Assignment, why: Refusal) -> HttpResponse:
    """Say why it cannot be given now, on the page where it was asked for."""
    name = assignment.operation.patient.full_name
    messages.warning(request, f"Not given to {name}: {REFUSAL[why]}.")
    return HttpResponseRedirect(reverse("other-ways", args=[assignment.pk]))


@open_to(*CARERS)
def other_ways(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the three ways, what was given by them before, and what came of it."""
    try:
        assignment = asked_about(request, pk)
        return render(request, "clinic/other_ways.html", _context(assignment, at=now()))
    except DatabaseError:
        return render(request, "clinic/could_not_load.html", status=503)


def _context(assignment: Assignment, *, at: datetime) -> dict[str, object]:
    patient = assignment.operation.patient
    barred = refusal(assignment, at=at, way=Way.PAPER)
    codes = QuizCode.objects.filter(invitation__assignment=assignment).select_related(
        "invitation__assignment", "invitation__by", "invitation__end"
    )
    papers = codes.filter(invitation__way=Way.PAPER).order_by("-recorded_at", "-id")[:SHEETS]
    screens = codes.filter(
        invitation__way=Way.KIOSK,
        invitation__tokens__isnull=True,
        invitation__end__isnull=True,
        recorded_at__gt=at - CODE_GOOD,
    )
    return {
        "a": assignment,
        "patient": patient,
        "title": titles().get(assignment.module_id, assignment.module.code),
        "barred": REFUSAL[barred] if barred else "",
        "language": language_for(assignment, patient.language),
        "sheets": [read_sheet(code, at=at) for code in papers],
        "good": SheetState.GOOD,
        "screens": screens.order_by("-recorded_at", "-id")[:1],
        "good_for": CODE_GOOD,
        "call": unfinished_call(assignment, at=at),
        "zone": current().zone,
    }


@open_to(*CARERS)
@once
@require_POST
def screen_code(request: HttpRequest, pk: int) -> HttpResponse:
    """Make a code for a shared screen; with the button “here” this screen becomes the shared one.

    Then whoever is signed in here is signed out, before the quiz is opened.
    """
    assignment = asked_about(request, pk)
    made = open_screen(
        assignment,
        language=assignment.operation.patient.language,
        at=now(),
        by_id=member(request).pk,
    )
    if isinstance(made, Refusal):
        return refused(request, assignment, made)
    if HERE not in request.POST:
        return HttpResponseRedirect(f"{reverse('other-ways', args=[pk])}#screen")
    return HttpResponseRedirect(reverse("kiosk", query={"code": made.code}))
