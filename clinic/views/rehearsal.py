"""Try the matching rule before trusting it. Reads; keeps and changes nothing."""

from django.http import HttpRequest, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render

from clinic.forms.programme import MATCHING
from clinic.forms.rehearsal import CLAIM_ROWS, MAX_MB, NAMES, REGISTER_ROWS, RehearsalForm
from clinic.rehearsal import MOST_PAST, on_files, on_past_submissions
from clinic.rehearsal_words import decisions_csv
from clinic.roles import REGISTRARS
from education.models import Submission
from patients.open_to import open_to
from patients.programme import current
from patients.rules.identity import Policy


@open_to(*REGISTRARS)
def rehearsal(request: HttpRequest) -> HttpResponseBase:
    """Ask for files, or for the programme's own past; show what the rule would make of them.

    Files are tried under the full rule, whatever the programme allows now: they have no links.
    """
    past = "past" in request.POST
    sent = request.method == "POST" and not past
    form = RehearsalForm(request.POST, request.FILES) if sent else RehearsalForm()
    result = None
    if past:
        result = on_past_submissions(Policy(current().matching))
    elif sent and form.is_valid():
        result = on_files(form.said, Policy.NAME_AND_BIRTH_DATE, NAMES)
        if "download" in request.POST:
            return StreamingHttpResponse(
                decisions_csv(result.answers),
                content_type="text/csv; charset=utf-8",
                headers={"Content-Disposition": 'attachment; filename="decisions.csv"'},
            )
    context = {
        "form": form,
        "result": result,
        "past": past,
        "submissions": Submission.objects.count(),
        "most_past": MOST_PAST,
        "matching": dict(MATCHING)[current().matching],
        "max_mb": MAX_MB,
        "register_rows": REGISTER_ROWS,
        "claim_rows": CLAIM_ROWS,
    }
    wrong = sent and bool(form.errors)
    return render(request, "clinic/rehearsal.html", context, status=422 if wrong else 200)
