"""The language buttons, and the way from a page to the question box: what was typed goes along."""

import re

from django.http import HttpResponse
from django.urls import reverse

from education.views.half_made import keep_half
from education.views.link import Visit, through_link
from education.views.opening import remember_language, see

# What may stand behind the token: a page of ours, so that nobody is sent elsewhere.
_ABOUT = r"(?:module|result|[sq]-[a-z0-9-]{1,60})"
PAGE = re.compile(
    rf"(?:(?:\d{{1,3}}|you|check|result)/)?(?:\?back=check)?|ask/(?:sent/)?(?:\?about={_ABOUT})?"
)
ASK = re.compile(rf"ask/\?about={_ABOUT}")


@through_link
def language(visit: Visit) -> HttpResponse:
    """Keep the language that was asked for, and show the same page again as it was filled in.

    With `go`: on to the question box, and what was chosen waits for the way back.
    """
    sent = visit.request.POST
    here, go = sent.get("here", ""), sent.get("go", "")
    start = reverse("quiz-start", args=[visit.token])
    known = PAGE.fullmatch(here) is not None
    to = go if ASK.fullmatch(go) else here if known else ""
    response = see(start + to)
    if known and visit.request.method == "POST":
        keep_half(response, visit.request, visit.token, here.partition("?")[0])
    code = sent.get("language", "")
    if code in visit.languages:
        remember_language(response, code)
    return response
