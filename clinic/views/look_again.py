"""Where the email leads that asks to look again: its address says nothing to whoever sees it."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_safe

from clinic.roles import READERS
from patients.open_to import open_to


@open_to(*READERS)
@require_safe
def look_again(request: HttpRequest) -> HttpResponse:
    """Go to the operations page, where what changed under a confirmation stands first."""
    return redirect("operations")
