"""The first page behind a link: the module as a letter, and the way into its questions."""

from django.http import HttpResponse

from education.models import Attempt
from education.often_asked import seen_by_patients
from education.shown import next_unanswered, number_of_questions, questions, sections
from education.take import NoAttemptLeft, answers_given, begin
from education.views.link import Visit, page, through_link
from education.views.opening import NOT_REACHED, see


@through_link
def start(visit: Visit) -> HttpResponse:
    """Show the module; the button begins the questions, or goes on with them."""
    context = _context(visit)
    # A mail scanner may send the form too, but empty: it takes the button to begin (fault 2).
    if visit.request.method != "POST" or visit.request.POST.get("begin") != "yes":
        return page(visit, "start", context)
    try:
        attempt = begin(visit.invitation, at=visit.at)
    except NoAttemptLeft:
        return see(visit.address("quiz-start"))
    except NOT_REACHED:
        return page(visit, "start", context, status=503)
    return see(address_to_go_on(visit, attempt))


def address_to_go_on(visit: Visit, attempt: Attempt) -> str:
    """Return the address of the first question without an answer, or of what follows them."""
    ahead = next_unanswered(questions(attempt, visit.language), answers_given(attempt))
    if ahead:
        return visit.address("quiz-question", ahead.number)
    return visit.address("quiz-you")


def _context(visit: Visit) -> dict[str, object]:
    edition = visit.edition
    asked = questions(visit.attempt, visit.language) if visit.attempt else []
    given = answers_given(visit.attempt) if visit.attempt else {}
    return {
        "title": edition.title[visit.language],
        "sections": sections(edition, visit.language),
        "number_of_questions": len(asked) or number_of_questions(edition),
        "attempt": visit.attempt,
        "next_question": next_unanswered(asked, given),
        "begun": bool(given),
        "submission": visit.submission,
        "may_begin": visit.may_begin,
        "result_url": visit.address("quiz-result"),
        "often_asked": seen_by_patients(edition.module_id, visit.language, at=visit.at),
    }
