"""What a patient asked, and what was answered, in the history of the patient's page."""

from collections.abc import Collection, Iterator
from datetime import datetime

from django.db.models import Prefetch

from clinic import question_words
from education.answer import ARRIVED, given_of
from education.mail_then import states_then
from education.models import Message, MessageState, PatientQuestion, QuestionAnswer
from education.rules.asking import About
from education.rules.module_parts import in_language
from patients.rules.languages import SOURCE_LANGUAGE

LONGEST = 120  # characters of a text that are shown
# In short: which section or question it was, the question's own page says.
ABOUT = {
    About.MODULE: "the module",
    About.SECTION: "a section",
    About.QUESTION: "a question of the quiz",
    About.RESULT: "the result",
}


def told_of(
    operation_ids: Collection[int], *, known_at: datetime | None = None
) -> Iterator[tuple[datetime, str, str, str]]:
    """Yield when, what, in which words, and who: each question and each answer to one.

    With `known_at`: what had become of an answer's email before that instant.
    """
    answers = QuestionAnswer.objects.select_related("link__message", "by")
    asked = (
        PatientQuestion.objects.filter(invitation__assignment__operation__in=operation_ids)
        .select_related("edition")
        .prefetch_related(Prefetch("answers", queryset=answers))
    )
    carried = Message.objects.filter(
        answer_link__answer__question__invitation__assignment__operation__in=operation_ids
    )
    then = states_then(carried, known_at=known_at) if known_at else {}
    for question in asked:
        title = in_language(question.edition.title, SOURCE_LANGUAGE)
        detail = f"{title}, {ABOUT[About(question.about)]}: {_short(question.text)}"
        yield question.recorded_at, "question asked", detail, "through the emailed link"
        for one in question.answers.all():
            link = getattr(one, "link", None)
            arrived = given_of(one).arrived
            if link and link.message_id in then:
                state = then[link.message_id]
                arrived = ARRIVED[state] if isinstance(state, MessageState) else None
            how = question_words.answer_words(one, arrived)
            if link and arrived is None:
                how += "; whether its email had gone out by then is not on record"
            yield one.recorded_at, "question answered", f"{how}: {_short(one.text)}", str(one.by)


def _short(text: str) -> str:
    words = " ".join(text.split())
    return words if len(words) <= LONGEST else f"{words[: LONGEST - 1]}…"
