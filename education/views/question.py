"""One question a page; the answer is saved as it is given."""

from django.http import Http404, HttpResponse

from education.answer_form import (
    Answering,
    ForeignOption,
    answering,
    half_answering,
    read_answer,
)
from education.models import Attempt
from education.rules.scoring import Given
from education.shown import ShownQuestion, next_unanswered, questions
from education.take import answers_given, save_answer
from education.views.half_made import forget_half, half_made
from education.views.link import Visit, page, through_link, where_it_stands
from education.views.opening import NOT_REACHED, see
from education.views.typed import typed_in


@through_link
def question(visit: Visit, number: int) -> HttpResponse:
    """Show question `number` of the edition that was begun; save what is answered, and go on."""
    attempt = visit.running
    if attempt is None:
        return where_it_stands(visit)
    asked = questions(attempt, visit.language)
    if not 1 <= number <= len(asked):
        raise Http404
    shown = asked[number - 1]
    given = answers_given(attempt)
    if visit.request.method != "POST":
        half = half_made(visit.request, visit.token, f"{number}/")
        if half is not None and half.get("attempt") == str(attempt.number):
            return _page(visit, attempt, shown, half_answering(shown, half))
        return _page(visit, attempt, shown, answering(shown, given.get(shown.record.pk)))
    if not of_attempt(visit, attempt):
        return see(visit.address("quiz-start"))
    return _answered(visit, attempt, asked, shown, given)


def of_attempt(visit: Visit, attempt: Attempt) -> bool:
    """Whether a form was shown in this attempt; one of an earlier attempt changes nothing now."""
    return visit.request.POST.get("attempt", str(attempt.number)) == str(attempt.number)


def _answered(
    visit: Visit,
    attempt: Attempt,
    asked: list[ShownQuestion],
    shown: ShownQuestion,
    given: dict[int, Given],
) -> HttpResponse:
    try:
        answer = read_answer(shown, visit.request.POST)
    except ForeignOption:
        raise Http404 from None
    if isinstance(answer, Answering):
        return _page(visit, attempt, shown, answer, status=422)
    try:
        save_answer(attempt, shown.record, answer, at=visit.at)
    except NOT_REACHED:
        return _page(visit, attempt, shown, answering(shown, answer), status=503)
    given[shown.record.pk] = answer
    return forget_half(see(_onward(visit, asked, shown, given)), visit.request, visit.token)


def _onward(
    visit: Visit, asked: list[ShownQuestion], shown: ShownQuestion, given: dict[int, Given]
) -> str:
    if visit.back_to_check:
        return visit.address("quiz-check")
    ahead = next_unanswered(asked, given, after=shown.number)
    if ahead:
        return visit.address("quiz-question", ahead.number)
    return visit.address("quiz-check" if typed_in(visit) else "quiz-you")


def _page(
    visit: Visit,
    attempt: Attempt,
    shown: ShownQuestion,
    fields: Answering,
    *,
    status: int = 200,
) -> HttpResponse:
    context = {
        "question": shown,
        "attempt": attempt,
        "fields": fields,
        "back_url": _back(visit, shown),
        "keeps_typed": True,
        "ask": f"ask/?about=q-{shown.record.key}",
    }
    return page(visit, "question", context, status=status)


def _back(visit: Visit, shown: ShownQuestion) -> str:
    if visit.back_to_check:
        return visit.address("quiz-check")
    if shown.number == 1:
        return visit.address("quiz-start")
    return visit.address("quiz-question", shown.number - 1)
