"""Try the matching rule before trusting it. Reads; keeps and changes nothing."""

from threading import Lock

from django.http import HttpRequest, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from clinic.forms.programme import MATCHING
from clinic.forms.rehearsal import CLAIM_ROWS, MAX_MB, NAMES, REGISTER_ROWS, RehearsalForm
from clinic.rehearsal import MOST_PAST, Result, on_files, on_past_submissions
from clinic.rehearsal_words import decisions_csv
from clinic.roles import REGISTRARS
from education.models import IdentityDecision
from patients import programme
from patients.clock import local_date, now
from patients.open_to import open_to

# A register takes much memory while it is asked; the pages of everybody else share it.
ONE_AT_A_TIME = Lock()


@open_to(*REGISTRARS)
@require_http_methods(["GET", "HEAD", "POST"])
def rehearsal(request: HttpRequest) -> HttpResponseBase:
    """Ask for files, or for the programme's own past; show what the rule would make of them."""
    if request.method != "POST":
        return _page(request)
    if not ONE_AT_A_TIME.acquire(blocking=False):
        return _page(request, busy=True, status=409)
    try:
        return _rehearse(request)
    finally:
        ONE_AT_A_TIME.release()


def _rehearse(request: HttpRequest) -> HttpResponseBase:
    if "past" in request.POST:
        request.trail_detail = {"rehearsed": "past submissions"}  # type: ignore[attr-defined]
        return _page(request, on_past_submissions(), past=True)
    today = local_date(now(), programme.current().zone)
    form = RehearsalForm(request.POST, request.FILES, on=today)
    if not form.is_valid():
        return _page(request, form=form, status=422)
    request.trail_detail = {"rehearsed": "files"}  # type: ignore[attr-defined]
    result = on_files(form.said, NAMES)
    if "download" not in request.POST:
        return _page(request, result)
    return StreamingHttpResponse(
        decisions_csv(result.answers),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="decisions.csv"'},
    )


def _page(
    request: HttpRequest,
    result: Result | None = None,
    *,
    past: bool = False,
    form: RehearsalForm | None = None,
    busy: bool = False,
    status: int = 200,
) -> HttpResponseBase:
    settings = programme.current()
    context = {
        "form": form or RehearsalForm(on=local_date(now(), settings.zone)),
        "result": result,
        "past": past,
        "busy": busy,
        "decided": IdentityDecision.objects.in_force().count(),
        "most_past": f"{MOST_PAST:,}",
        "more_than_most": MOST_PAST,
        "matching": dict(MATCHING)[settings.matching],
        "max_mb": MAX_MB,
        "register_rows": f"{REGISTER_ROWS:,}",
        "claim_rows": f"{CLAIM_ROWS:,}",
    }
    return render(request, "clinic/rehearsal.html", context, status=status)
