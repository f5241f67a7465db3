"""The question box: a patient asks the programme, from a module's page or the result."""

import re
import uuid
from dataclasses import dataclass

from django.http import Http404, HttpResponse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from education.ask import ask
from education.models import Edition
from education.rules.asking import MAX_QUESTION, MOST_A_DAY, About, AskFault
from education.shown import questions
from education.views.half_made import forget_half, half_made
from education.views.link import Visit, page, through_link
from education.views.opening import NOT_REACHED, see

BOX = "ask/"
LONGEST_ECHO = 12_000  # characters of a refused question that are shown again
_PART = re.compile(r"([sq])-([a-z0-9-]{1,60})")


@dataclass(frozen=True)
class Place:
    """From where somebody asks: what it is called for them, and the page to go back to."""

    about: About
    part: str
    name: str
    back_url: str
    asked: str
    edition: Edition


@through_link
def ask_us(visit: Visit) -> HttpResponse:
    """Show the box; keep what is asked. It takes the button: a mail scanner's form is empty."""
    if visit.shared:  # its answer would come to a link that is dead
        raise Http404
    place = _place(visit)
    sent = visit.request.POST
    if visit.request.method != "POST":
        half = half_made(visit.request, visit.token, BOX)
        typed = half.get("question", "") if half else ""
        return _page(visit, place, typed, half.get("key", "") if half else "")
    typed, key = sent.get("question", ""), sent.get("key", "")
    try:
        kept = ask(
            visit.invitation,
            place.edition,
            about=place.about,
            part=place.part,
            language=visit.language,
            typed=typed,
            key=_key(key),
            at=visit.at,
        )
    except NOT_REACHED:
        return _page(visit, place, typed, key, status=503)
    if isinstance(kept, AskFault):
        return _page(visit, place, typed, key, fault=kept, status=422)
    response = see(visit.address("quiz-asked", about=place.asked))
    return forget_half(response, visit.request, visit.token)


@through_link
def asked(visit: Visit) -> HttpResponse:
    """Say what happens with a question that was sent. The page knows nothing of any question."""
    place = _place(visit)
    context = {
        "back_url": place.back_url,
        "again_url": visit.address("quiz-ask", about=place.asked),
    }
    return page(visit, "asked", context)


def _page(
    visit: Visit,
    place: Place,
    typed: str,
    key: str,
    *,
    fault: AskFault | None = None,
    status: int = 200,
) -> HttpResponse:
    context = {
        "place": place,
        "back_url": place.back_url,
        "typed": typed[:LONGEST_ECHO],
        "key": _key(key),
        "most": MAX_QUESTION,
        "error": _said(fault, typed) if fault else "",
        "keeps_typed": True,
    }
    return page(visit, "ask", context, status=status)


def _said(fault: AskFault, typed: str) -> str:
    if fault == AskFault.TOO_LONG:
        return _(
            "This is too long: %(length)s characters. %(most)s is the most. Please shorten it."
        ) % {"length": len(typed), "most": MAX_QUESTION}
    if fault == AskFault.TOO_MANY:
        return ngettext(
            "You asked %(count)s question today. That is the most for one day. Please call us.",
            "You asked %(count)s questions today. That is the most for one day. Please call us.",
            MOST_A_DAY,
        ) % {"count": MOST_A_DAY}
    return _("Type your question.")


def _key(sent: str) -> uuid.UUID:
    """Return the form's own key: sent twice, one form is one question."""
    try:
        return uuid.UUID(sent[:40])
    except ValueError:
        return uuid.uuid4()


def _place(visit: Visit) -> Place:
    """Return what the address says that it is about; anything else is the module as a whole."""
    said = visit.request.GET.get("about", "")
    part = _PART.fullmatch(said)
    if part and part[1] == "q":
        return _at_question(visit, part[2])
    if part:
        return _at_section(visit, part[2])
    if said == About.RESULT and visit.submission:
        name, back = _("Your result"), visit.address("quiz-result")
        return Place(About.RESULT, "", name, back, said, visit.submission.edition)
    start = visit.address("quiz-start")
    title = visit.edition.title[visit.language]
    return Place(About.MODULE, "", title, start, About.MODULE, visit.edition)


def _at_section(visit: Visit, key: str) -> Place:
    section = visit.edition.sections.filter(key=key).first()
    if section is None:
        raise Http404
    back = f"{visit.address('quiz-start')}#{key}"
    heading = section.heading[visit.language]
    return Place(About.SECTION, key, heading, back, f"s-{key}", visit.edition)


def _at_question(visit: Visit, key: str) -> Place:
    """A question of the attempt that is under way, or else of the one that was handed in."""
    attempt = visit.running or (visit.submission.attempt if visit.submission else None)
    listed = questions(attempt, visit.language) if attempt else []
    shown = next((one for one in listed if one.record.key == key), None)
    if attempt is None or shown is None:
        raise Http404
    if visit.running:
        back = visit.address("quiz-question", shown.number)
    else:
        back = visit.address("quiz-result")
    return Place(About.QUESTION, shown.record.name, shown.stem, back, f"q-{key}", attempt.edition)
