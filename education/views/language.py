"""The language buttons."""

import re

from django.http import HttpResponse
from django.urls import reverse

from education.views.link import Visit, remember_language, see, through_link

# What may stand behind the token: a page of ours, so that nobody is sent elsewhere.
PAGE = re.compile(r"(?:(?:\d{1,3}|you|check|result)/)?(?:\?back=check)?")


@through_link
def language(visit: Visit) -> HttpResponse:
    """Keep the language that was asked for and show the same page again."""
    here = visit.request.POST.get("here", "")
    start = reverse("quiz-start", args=[visit.token])
    response = see(start + here if PAGE.fullmatch(here) else start)
    code = visit.request.POST.get("language", "")
    if code in visit.languages:
        remember_language(response, code)
    return response
