"""Quizzes on paper: print them, for one patient or several, print them again, withdraw them."""

from collections.abc import Iterable

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from clinic import quiz_sheet
from clinic.access import about, member
from clinic.once import once
from clinic.roles import CARERS
from clinic.views.acts import way_back
from clinic.views.several import EPOCH, MICROSECOND, chosen, instant_of
from clinic.words import REFUSAL
from education.invite import Refusal, refusal
from education.models import Assignment, EndedBecause, QuizCode
from education.other_ways import MAY_BE_ENTERED, language_for, print_sheet, read_sheet
from education.personal_link import end
from education.rules.quiz_way import Way
from education.titles import titles
from patients.clock import now
from patients.open_to import open_to
from patients.programme import current


@open_to(*CARERS)
@once
def print_sheets(request: HttpRequest) -> HttpResponse:
    """GET shows for whom sheets would be printed, and for whom not, and why; POST makes them."""
    at = now()
    asked = chosen(request)
    about_all(request, (a.operation.patient_id for a in asked))
    weighed = [(a, refusal(a, at=at, way=Way.PAPER)) for a in asked]
    if request.method != "POST":
        named = titles()
        context = {
            "printable": [
                (a, named.get(a.module_id, a.module.code), _language(a))
                for a, against in weighed
                if not against
            ],
            "refused": [(a, REFUSAL[against]) for a, against in weighed if against],
            "back": way_back(request, reverse("morning")),
        }
        return render(request, "clinic/print_sheets.html", context)
    by_id = member(request).pk
    for assignment in asked:
        made = print_sheet(assignment, language=_language(assignment), at=at, by_id=by_id)
        if isinstance(made, Refusal):
            name = assignment.operation.patient.full_name
            messages.warning(request, f"No sheet for {name}: {REFUSAL[made]}.")
    stamp = (at - EPOCH) // MICROSECOND
    return HttpResponseRedirect(reverse("printed-sheets", args=[stamp]))


@open_to(*CARERS)
@require_safe
def printed_sheets(request: HttpRequest, stamp: int) -> HttpResponse:
    """Show which sheet is for whom: the sheets themselves do not say it."""
    at = now()
    codes = _together(request, stamp)
    sheets = [read_sheet(code, at=at) for code in codes]
    context = {
        "sheets": sheets,
        "open": [sheet for sheet in sheets if sheet.state in MAY_BE_ENTERED],
        "named": titles(),
        "stamp": stamp,
        "at": at,
        "zone": current().zone,
    }
    return render(request, "clinic/printed_sheets.html", context)


@open_to(*CARERS)
@require_safe
def sheets_pdf(request: HttpRequest, stamp: int) -> HttpResponse:
    """Return the sheets that were made together as one file; of none there is none."""
    codes = _together(request, stamp)
    if not codes:
        return HttpResponseRedirect(reverse("printed-sheets", args=[stamp]))
    return _pdf(codes, f"quiz-sheets-{stamp}")


@open_to(*CARERS)
@require_safe
def sheet_pdf(request: HttpRequest, code: str) -> HttpResponse:
    """Return one sheet, as it was printed the first time."""
    return _pdf([_sheet(request, code)], f"quiz-sheet-{code}")


@open_to(*CARERS)
@once
@require_POST
def withdraw_sheets(request: HttpRequest, stamp: int) -> HttpResponse:
    """Withdraw the sheets of one printing that did not come back; what did stays."""
    _withdraw(request, _together(request, stamp))
    return HttpResponseRedirect(reverse("printed-sheets", args=[stamp]))


@open_to(*CARERS)
@once
@require_POST
def withdraw_sheet(request: HttpRequest, code: str) -> HttpResponse:
    """Withdraw one sheet."""
    found = _sheet(request, code)
    _withdraw(request, [found])
    return HttpResponseRedirect(reverse("other-ways", args=[found.invitation.assignment_id]))


def about_all(request: HttpRequest, patients: Iterable[int]) -> None:
    """Say in the trail whose records a request is about, if anybody's."""
    ids = sorted(set(patients))
    if ids:
        about(request, *ids)


def _withdraw(request: HttpRequest, codes: list[QuizCode]) -> None:
    at, by_id = now(), member(request).pk
    open_ones = [c for c in codes if read_sheet(c, at=at).state in MAY_BE_ENTERED]
    for code in open_ones:
        end(code.invitation, EndedBecause.WITHDRAWN, at=at, by_id=by_id)
    count = len(open_ones)
    if count:
        messages.success(request, f"{count} sheet{'s' if count > 1 else ''} withdrawn.")
    if count < len(codes):
        messages.warning(request, f"{len(codes) - count} had come back, or had ended before.")


def _pdf(codes: list[QuizCode], name: str) -> HttpResponse:
    content = quiz_sheet.write(codes, programme=current())
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    return response


def _together(request: HttpRequest, stamp: int) -> list[QuizCode]:
    """The sheets that were made in one act."""
    rows = _rows().filter(recorded_at=instant_of(stamp))
    codes = list(rows.order_by("invitation__assignment__operation__patient__family_names", "id"))
    about_all(request, (c.invitation.assignment.operation.patient_id for c in codes))
    return codes


def _sheet(request: HttpRequest, code: str) -> QuizCode:
    found = get_object_or_404(_rows(), code=code)
    about(request, found.invitation.assignment.operation.patient_id)
    return found


def _rows() -> QuerySet[QuizCode]:
    return QuizCode.objects.filter(invitation__way=Way.PAPER).select_related(
        "invitation__assignment__operation__patient", "invitation__end", "invitation__by"
    )


def _language(assignment: Assignment) -> str:
    return language_for(assignment, assignment.operation.patient.language)
