"""Say how a schedule file is read: which column is which, and what the words in it mean."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from clinic.access import member
from clinic.forms.schedule_reading import ColumnsForm, WordsForm
from clinic.models import ScheduleImport, ScheduleUpload
from clinic.once import once
from clinic.schedule_upload import look_again, preview_of
from clinic.views.schedule_import import MAY_IMPORT
from patients.clock import now
from patients.open_to import open_to
from patients.rules.schedule_file import read_text
from patients.rules.schedule_reasons import NotASchedule
from patients.rules.schedule_table import Table, outline
from patients.schedule_reading import choose_columns, say_words, words_in


@open_to(*MAY_IMPORT)
@require_http_methods(["GET", "HEAD", "POST"])
@once
def schedule_columns(request: HttpRequest, upload_id: int) -> HttpResponse:
    """Show each column with its first values, and ask which of ours it is."""
    upload = get_object_or_404(ScheduleUpload, pk=upload_id)
    if ScheduleImport.objects.filter(upload=upload).exists():
        return redirect("schedule-preview", upload_id=upload.pk)
    at = now()
    table = _as_read(upload)
    asked = request.POST.get("header", request.GET.get("header", ""))
    header = int(asked) if asked.isdecimal() and len(asked) < 7 else _header_line(table)
    try:
        shown = outline(read_text(bytes(upload.content))[0], header_line=header)
    except NotASchedule:  # the line that was asked for has too many columns, or these are messages
        page = "schedule-columns" if asked else "schedule-preview"
        return redirect(page, upload_id=upload.pk)
    same = table is not None and table.key == shown.key
    places = table.places if table and same else shown.recognised
    form = ColumnsForm(shown, places, request.POST or None)
    if request.method == "POST" and form.is_valid():
        choose_columns(shown, form.columns, at=at, by_id=member(request).pk)
        look_again(upload, at=at)
        return redirect("schedule-preview", upload_id=upload.pk)
    context = {"upload": upload, "form": form, "shown": shown, "known": table is not None}
    status = 422 if request.method == "POST" else 200
    return render(request, "clinic/schedule_columns.html", context, status=status)


@open_to(*MAY_IMPORT)
@require_http_methods(["GET", "HEAD", "POST"])
@once
def schedule_words(request: HttpRequest, upload_id: int) -> HttpResponse:
    """Ask what the words of the status column and the names of procedures mean."""
    upload = get_object_or_404(ScheduleUpload, pk=upload_id)
    if ScheduleImport.objects.filter(upload=upload).exists():
        return redirect("schedule-preview", upload_id=upload.pk)
    at = now()
    try:
        found = preview_of(upload, day_first=None, at=at)
    except NotASchedule:
        return redirect("schedule-columns", upload_id=upload.pk)
    form = WordsForm(found, *words_in(found.table, found.reading), request.POST or None)
    if request.method == "POST" and form.is_valid():
        say_words(
            found.table,
            plans=form.plans,
            procedures=form.procedures,
            unsaid=form.unsaid,
            day_first=form.day_first,
            at=at,
            by_id=member(request).pk,
        )
        look_again(upload, at=at)
        return redirect("schedule-preview", upload_id=upload.pk)
    context = {"upload": upload, "form": form}
    status = 422 if request.method == "POST" else 200
    return render(request, "clinic/schedule_words.html", context, status=status)


def _as_read(upload: ScheduleUpload) -> Table | None:
    """Return the file as it is read now; None when nobody knows its columns yet."""
    try:
        return preview_of(upload, day_first=None, at=now()).table
    except NotASchedule:
        return None


def _header_line(table: Table | None) -> int | None:
    if table is None:
        return None
    return table.lines_above + 1 if table.has_header else 0
