"""Who took the quiz: the name and date of birth, typed once, at the end."""

from django.http import HttpResponse, QueryDict

from education.forms import MAX_NAME, YouForm
from education.shown import questions
from education.views.half_made import forget_half, half_made
from education.views.link import Visit, page, through_link, where_it_stands
from education.views.opening import see
from education.views.typed import keep_typed, typed_in
from education.written_days import date_parts
from patients.clock import local_date

LONGEST_ECHO = MAX_NAME + 50  # characters of a refused name that are shown again


@through_link
def you(visit: Visit) -> HttpResponse:
    """Ask for the name and date of birth; nothing of it is stored here."""
    if visit.running is None:
        return where_it_stands(visit)
    on = local_date(visit.at, visit.programme.zone)
    if visit.request.method != "POST":
        half = half_made(visit.request, visit.token, "you/")
        return _page(visit, _echoed(half) if half else _as_typed_before(visit), None)
    form = YouForm(visit.request.POST, on=on)
    if not form.is_valid():
        return _page(visit, _echoed(visit.request.POST), form, status=422)
    response = see(visit.address("quiz-check"))
    keep_typed(response, visit, form.typed())
    return forget_half(response, visit.request, visit.token)


def _echoed(sent: QueryDict) -> dict[str, str]:
    return {name: sent.get(name, "")[:LONGEST_ECHO] for name in YouForm.base_fields}


def _as_typed_before(visit: Visit) -> dict[str, str]:
    typed = typed_in(visit)
    if typed is None:
        return {}
    return {
        "given_names": typed.given_names,
        "family_names": typed.family_names,
        "day": str(typed.birth_date.day),
        "month": str(typed.birth_date.month),
        "year": str(typed.birth_date.year),
    }


def _page(
    visit: Visit, typed: dict[str, str], form: YouForm | None, *, status: int = 200
) -> HttpResponse:
    attempt = visit.running
    last = len(questions(attempt, visit.language)) if attempt else 1
    first_errors = (
        {name: form.errors[name][0] for name in form.fields if name in form.errors} if form else {}
    )
    context = {
        "typed": typed,
        "errors": first_errors,
        "date_parts": date_parts(),
        "keeps_typed": True,
        "back_url": visit.address("quiz-check")
        if visit.back_to_check
        else visit.address("quiz-question", last),
    }
    return page(visit, "you", context, status=status)
