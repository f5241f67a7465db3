"""Import the operating schedule: choose the file, see what it would change, then apply it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from django.core.paginator import Page, Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from clinic.access import member
from clinic.forms.schedule_import import UploadForm
from clinic.models import Role, ScheduleImport, ScheduleUpload
from clinic.once import once
from clinic.schedule_upload import (
    ImportedAlready,
    changed_since,
    import_upload,
    keep,
    preview_of,
)
from clinic.views.message_preview import messages_preview
from patients import programme
from patients.clock import now
from patients.import_messages import is_message_file
from patients.import_schedule import ChangedSincePreview, Preview, rejected_csv
from patients.open_to import open_to
from patients.rules.schedule_changes import Proposal, Verdict
from patients.rules.schedule_reasons import NotASchedule, Reason
from patients.schedule_words import (
    about_file,
    change_words,
    date_order_words,
    notice_words,
    problem_words,
)

MAY_IMPORT = (Role.DIETITIAN, Role.COORDINATOR, Role.ADMINISTRATOR)
# How 03/04/2027 is read, as it stands in the address of the preview.
DATE_ORDERS = {"day-first": True, "month-first": False}
FEW, PAGE = 25, 100
REJECTED = ("rejected", "not-ours")
UNKNOWN_WORDS = frozenset({Reason.STATUS_UNKNOWN, Reason.PROCEDURE_UNKNOWN})


@dataclass(frozen=True)
class Line:
    """One row of the file as the page shows it."""

    proposal: Proposal
    problems: tuple[tuple[str, str, str], ...]  # column, reason, fix
    changes: tuple[str, ...]
    notices: tuple[str, ...]
    changed_since: bool


@dataclass(frozen=True)
class Section:
    """The rows of one kind: the first few, or one page of all of them."""

    name: str
    title: str
    count: int
    lines: tuple[Line, ...]
    page: Page[Proposal] | None


# In reading order: what needs somebody, what moves, what else changes, what is new.
SECTIONS: tuple[tuple[str, str, Callable[[Proposal], bool]], ...] = (
    ("rejected", "Rejected", lambda p: p.verdict == Verdict.REJECTED and not p.not_ours),
    ("moved", "OR date moves", lambda p: p.moved is not None),
    ("updated", "Other changes", lambda p: p.verdict == Verdict.UPDATED and p.moved is None),
    ("created", "New", lambda p: p.verdict == Verdict.CREATED and p.moved is None),
    (
        "noticed",
        "Unchanged, and worth a look",
        lambda p: p.verdict == Verdict.UNCHANGED and bool(p.notices),
    ),
    ("not-ours", "Rejected: not one of our procedures", lambda p: p.not_ours),
)


@open_to(*MAY_IMPORT)
@require_http_methods(["GET", "HEAD", "POST"])
@once
def schedule_import(request: HttpRequest) -> HttpResponse:
    """Take a file, keep it, and lead to its preview. Nothing of it is imported here."""
    form = UploadForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        name = form.cleaned_data["file"].name or "schedule.csv"
        upload = keep(form.content, name=name, at=now(), by=member(request))
        return redirect("schedule-preview", upload_id=upload.pk)
    context = {
        "form": form,
        "latest": ScheduleImport.objects.order_by("-id").select_related("upload", "by").first(),
        "zone": programme.current().zone,
    }
    status = 422 if request.method == "POST" else 200
    return render(request, "clinic/schedule_import.html", context, status=status)


@open_to(*MAY_IMPORT)
@require_http_methods(["GET", "HEAD", "POST"])
@once
def schedule_preview(request: HttpRequest, upload_id: int) -> HttpResponse:
    """Show what a kept file would change, or what it did; a POST applies what was shown."""
    upload = get_object_or_404(ScheduleUpload, pk=upload_id)
    if is_message_file(bytes(upload.content)):
        return messages_preview(request, upload)
    day_first = DATE_ORDERS.get(request.GET.get("dates", ""))
    if request.method != "POST":
        try:
            found = preview_of(upload, day_first=day_first, at=now())
        except NotASchedule:  # nobody has said yet which column is which
            return redirect("schedule-columns", upload_id=upload.pk)
        return _show(request, upload, found)
    shown = request.POST.get("shown", "")
    try:
        import_upload(upload, day_first=day_first, shown=shown, at=now(), by=member(request))
    except ChangedSincePreview as changed:
        return _show(request, upload, changed.preview, refused=True)
    except ImportedAlready:
        pass  # by another page: the same outcome
    except NotASchedule:
        return redirect("schedule-columns", upload_id=upload.pk)
    return redirect(_address(upload, day_first))


@open_to(*MAY_IMPORT)
@require_safe
def schedule_rejected(request: HttpRequest, upload_id: int) -> HttpResponse:
    """The rejected rows as a file that can be imported once it is corrected."""
    upload = get_object_or_404(ScheduleUpload, pk=upload_id)
    day_first = DATE_ORDERS.get(request.GET.get("dates", ""))
    try:
        content = rejected_csv(preview_of(upload, day_first=day_first, at=now()))
    except NotASchedule:
        return redirect("schedule-columns", upload_id=upload.pk)
    response = HttpResponse(content, content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = 'attachment; filename="rejected-rows.csv"'
    return response


def _address(upload: ScheduleUpload, day_first: bool | None) -> str:
    chosen = _order_word(day_first)
    address = reverse("schedule-preview", kwargs={"upload_id": upload.pk})
    return f"{address}?dates={chosen}" if chosen else address


def _order_word(day_first: bool | None) -> str:
    return next((word for word, order in DATE_ORDERS.items() if order is day_first), "")


def _show(
    request: HttpRequest, upload: ScheduleUpload, found: Preview, *, refused: bool = False
) -> HttpResponse:
    imported = ScheduleImport.objects.filter(upload=upload).select_related("by").first()
    changed = frozenset() if imported else changed_since(upload, found)
    counts = imported.counts if imported else found.counts
    context: dict[str, Any] = {
        "upload": upload,
        "imported": imported,
        "found": found,
        "rows": len(found.proposals),
        "counts": {verdict: counts[verdict] for verdict in Verdict},
        "about": about_file(found.table, found.encoding),
        "order_words": date_order_words(found.date_orders),
        "example": _ambiguous_example(found),
        "unknown_words": _with_unknown_words(found),
        "dates": _order_word(found.day_first),
        "changed": len(changed),
        "refused": refused,
        "sections": _sections(request, found, changed, only_rejected=imported is not None),
        "show": request.GET.get("show", ""),
        "zone": programme.current().zone,
    }
    return render(
        request, "clinic/schedule_import_preview.html", context, status=409 if refused else 200
    )


def _sections(
    request: HttpRequest, found: Preview, changed: frozenset[int], *, only_rejected: bool
) -> list[Section]:
    show = request.GET.get("show", "")
    sections = []
    for name, title, belongs in SECTIONS:
        proposals = [proposal for proposal in found.proposals if belongs(proposal)]
        if not proposals or (show and show != name) or (only_rejected and name not in REJECTED):
            continue
        page = Paginator(proposals, PAGE).get_page(request.GET.get("page")) if show else None
        shown: Sequence[Proposal] = list(page.object_list) if page else proposals[:FEW]
        lines = tuple(_line(proposal, found, changed) for proposal in shown)
        sections.append(Section(name, title, len(proposals), lines, page))
    return sections


def _line(proposal: Proposal, found: Preview, changed: frozenset[int]) -> Line:
    problems = tuple(
        (problem.column, *problem_words(problem, found.procedures)) for problem in proposal.problems
    )
    changes = () if problems else tuple(change_words(proposal, found.procedures))
    notices = tuple(notice_words(notice) for notice in proposal.notices)
    return Line(proposal, problems, changes, notices, proposal.line in changed)


def _with_unknown_words(found: Preview) -> int:
    """How many rows are rejected for a word that somebody can say the meaning of."""
    return sum(
        any(problem.reason in UNKNOWN_WORDS for problem in proposal.problems)
        for proposal in found.proposals
    )


def _ambiguous_example(found: Preview) -> str:
    """The file's first date that can mean two days, as it is written."""
    return next(
        (
            problem.detail
            for proposal in found.proposals
            for problem in proposal.problems
            if problem.reason == Reason.DATE_AMBIGUOUS
        ),
        "",
    )
