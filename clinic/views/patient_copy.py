"""The patient's own copy of a result, to print for whoever took the quiz without a screen."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.template.loader import render_to_string
from django.utils import translation
from django.views.decorators.http import require_safe

from clinic.access import about
from clinic.roles import CARERS
from clinic.submissions import with_people
from education.attempts import attempts_left
from education.models import Submission
from education.views.opening import phone_link
from education.views.result import what_is_told
from patients.open_to import open_to
from patients.programme import current
from patients.rules.languages import direction_of


@open_to(*CARERS)
@require_safe
def patient_copy(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a result as its patient would see it, in the language of the quiz; no name is on it."""
    submission = get_object_or_404(with_people(Submission.objects.filter(pk=pk)))
    assignment = submission.attempt.invitation.assignment
    about(request, assignment.operation.patient_id)
    used = current()
    with translation.override(submission.language):
        context = {
            **what_is_told(submission, submission.language, zone=used.zone),
            "may_begin": attempts_left(assignment.pk) > 0,
            "language": submission.language,
            "direction": direction_of(submission.language),
            "programme": used,
            "phone_link": phone_link(used.phone),
            "emergency_link": phone_link(used.emergency_number),
        }
        return HttpResponse(render_to_string("education/result.html", context))
