"""What a file of schedule messages would do: each message, then the same in one transaction."""

from dataclasses import dataclass

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from clinic.access import member
from clinic.models import ScheduleImport, ScheduleUpload
from clinic.schedule_upload import ImportedAlready, MessagesChanged, import_messages
from patients import programme
from patients.clock import now
from patients.import_messages import Imported, Line, preview
from patients.intake import Conflict, Taken
from patients.message_words import STEPS, reason_words, refusal_words
from patients.models import Procedure, Step
from patients.rules.message_formats import MessageFormat
from patients.rules.schedule_changes import Verdict
from patients.rules.schedule_rows import ScheduleRow
from patients.schedule_words import change_words

PAGE = 100


@dataclass(frozen=True)
class Shown:
    """One message as the page shows it."""

    place: str
    verdict: Verdict
    who: str
    what: str
    reasons: tuple[str, ...]


def messages_preview(request: HttpRequest, upload: ScheduleUpload) -> HttpResponse:
    """Show what would come of each message, or what did; a POST takes in what was shown."""
    refused = False
    if request.method == "POST":
        shown = request.POST.get("shown", "")
        try:
            import_messages(upload, shown=shown, at=now(), by=member(request))
        except MessagesChanged:
            refused = True
        except ImportedAlready:
            pass  # by another page: the same outcome
        if not refused:
            return redirect("schedule-preview", upload_id=upload.pk)
    found = preview(bytes(upload.content), at=now(), name=upload.name)
    imported = ScheduleImport.objects.filter(upload=upload).select_related("by").first()
    counts = imported.counts if imported else found.counts
    # What needs somebody first, then as they stand in the file.
    lines = sorted(found.lines, key=lambda line: line.verdict != Verdict.REJECTED)
    page = Paginator(lines, PAGE).get_page(request.GET.get("page"))
    procedures = dict(Procedure.objects.values_list("id", "name"))
    context = {
        "upload": upload,
        "imported": imported,
        "found": found,
        "total": len(found.lines),
        "counts": {verdict: counts[verdict] for verdict in Verdict},
        "waiting": _waiting(found),
        "lines": [_shown(line, found.format, procedures) for line in page.object_list],
        "page": page,
        "refused": refused,
        "zone": programme.current().zone,
    }
    status = 409 if refused else 200
    return render(request, "clinic/schedule_messages_preview.html", context, status=status)


def _waiting(found: Imported) -> int:
    """How many wait for somebody, or would."""
    steps = (line.came.step.step for line in found.lines if isinstance(line.came, Taken))
    return sum(step == Step.WAITS for step in steps)


def _shown(line: Line, format: MessageFormat, procedures: dict[int, str]) -> Shown:
    came = line.came
    place = f"{'Entry' if format == MessageFormat.FHIR_R4 else 'Line'} {line.number}"
    if isinstance(came, Conflict):
        what = "Its control id was used for another message before. Ask the sender to send it anew."
        return Shown(place, line.verdict, "", what, ())
    if not isinstance(came, Taken):
        return Shown(place, line.verdict, "", " ".join(refusal_words(came)), ())
    row = came.reading.row
    who = ""
    if isinstance(row, ScheduleRow):
        who = f"{row.given_names} {row.family_names}".strip() + f", MRN {row.mrn}"
    # A file has no sender who could be told.
    step = Step(came.step.step)
    what = "not taken, it cannot be read" if step == Step.REFUSED else STEPS[step]
    what += ", as it was before" if came.repeated else ""
    proposal = came.judged.proposal if came.judged else None
    if proposal and line.verdict in (Verdict.CREATED, Verdict.UPDATED):
        what = "; ".join(change_words(proposal, procedures))
    told = (reason_words(kept, procedures) for kept in came.step.reasons)
    reasons = tuple(
        " ".join(filter(None, (f"{where}:" if where else "", why, fix))) for where, why, fix in told
    )
    return Shown(place, line.verdict, who, what, reasons)
