"""What is not translated: in each language that patients are offered, and where it is written."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from clinic.roles import READERS
from clinic.untranslated_page import groups
from patients.open_to import open_to
from patients.rules.languages import offered


@open_to(*READERS)
@require_safe
def not_translated(request: HttpRequest) -> HttpResponse:
    """List what is missing, language by language; in English only what others have and it lacks."""
    languages = [(one, groups(one)) for one in offered()]
    context = {
        "languages": languages,
        "counts": [(one, sum(group.count for group in found)) for one, found in languages],
    }
    return render(request, "clinic/not_translated.html", context)
