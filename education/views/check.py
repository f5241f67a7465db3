"""Everything once more before it is handed in, and the handing in."""

from dataclasses import dataclass

from django.http import HttpResponse

from education.forms import Typed
from education.models import Attempt
from education.shown import ShownQuestion, questions
from education.take import Unanswered, answers_given, submit
from education.views.link import Visit, page, through_link, where_it_stands
from education.views.opening import NOT_REACHED, see
from education.views.question import of_attempt
from education.views.typed import forget_typed, typed_in
from education.written_days import plain_day


@dataclass(frozen=True)
class Row:
    """One question with the answer given, () for none, and where to change it."""

    question: ShownQuestion
    answer: tuple[str, ...]
    change_url: str


@through_link
def check(visit: Visit) -> HttpResponse:
    """Show what will be handed in; the button hands it in, once however often it is sent."""
    attempt = visit.running
    if attempt is None or not of_attempt(visit, attempt):
        return where_it_stands(visit)
    typed = typed_in(visit)
    if typed is None:
        return see(visit.address("quiz-you"))
    if visit.request.method != "POST" or visit.request.POST.get("hand_in") != "yes":
        return _page(visit, attempt, typed)
    try:
        submit(
            attempt,
            given_names=typed.given_names,
            family_names=typed.family_names,
            birth_date=typed.birth_date,
            language=visit.language,
            at=visit.at,
            only_whole=True,
        )
    except Unanswered:
        return _page(visit, attempt, typed, status=422)
    except NOT_REACHED:
        return _page(visit, attempt, typed, status=503)
    response = see(visit.address("quiz-result"))
    forget_typed(response, visit)
    return response


def _rows(visit: Visit, attempt: Attempt) -> list[Row]:
    given = answers_given(attempt)
    return [
        Row(
            question,
            question.in_words(given.get(question.record.pk)),
            visit.address("quiz-question", question.number, back="check"),
        )
        for question in questions(attempt, visit.language)
    ]


def _page(visit: Visit, attempt: Attempt, typed: Typed, *, status: int = 200) -> HttpResponse:
    rows = _rows(visit, attempt)
    context = {
        "attempt": attempt,
        "typed": typed,
        "birth_date": plain_day(typed.birth_date),
        "rows": rows,
        "unanswered": [row for row in rows if not row.answer],
        "refused": status == 422,
        "you_url": visit.address("quiz-you", back="check"),
        "back_url": visit.address("quiz-you"),
    }
    return page(visit, "check", context, status=status)
