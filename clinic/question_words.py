"""What staff read about patients' questions: where one stands, what it is about, the next step."""

from collections.abc import Sequence

from education.models import PatientQuestion, Question, QuestionAnswer, Section
from education.rules.asking import About, Arrived, Means, Stand
from education.rules.module_parts import in_language
from education.rules.one_persons import Found, Sign
from patients.models import Patient
from patients.rules.languages import SOURCE_LANGUAGE, name_of

STAND = {
    Stand.WAITS: "waits for an answer",
    Stand.NOT_ARRIVED: "the answer did not arrive",
    Stand.ANSWERED: "answered",
}
MEANS = {
    Means.EMAIL: "by email, behind a link",
    Means.PHONE: "by phone",
    Means.NOT_NEEDED: "no answer needed",
}
ARRIVED = {
    Arrived.ON_ITS_WAY: "the email is on its way",
    Arrived.WENT_OUT: "the email went out",
    Arrived.UNSURE: "the email may have gone out, or not",
    Arrived.NO: "the email did not arrive: call",
}
PART = {
    About.MODULE: "the module",
    About.SECTION: "section “{}”",
    About.QUESTION: "question “{}”",
    About.RESULT: "the result",
}
SIGN = {
    Sign.COPIED: "the patient’s own words",
    Sign.NAME: "a name of the patient’s",
    Sign.NUMBER: "a number of the patient’s",
    Sign.DAY: "a date",
    Sign.ADDRESS: "an email address",
}


def next_step(stand: Stand, patient: Patient) -> str:
    """Return what comes next, "" for nothing."""
    if stand == Stand.ANSWERED:
        return ""
    if not patient.email:
        return "Call with the answer"
    return "Call: the answer did not arrive" if stand == Stand.NOT_ARRIVED else "Answer"


def about_words(questions: Sequence[PatientQuestion]) -> dict[int, str]:
    """Return what each question is about, as staff call it, by id; two queries for all."""
    editions = {one.edition_id for one in questions}
    keys = {one.part.partition(".")[0] for one in questions if one.part}
    sections = Section.objects.filter(edition__in=editions, key__in=keys)
    asked = Question.objects.filter(edition__in=editions, key__in=keys)
    headings = {(one.edition_id, one.key): one.heading for one in sections} if keys else {}
    stems = {(one.edition_id, one.name): one.stem for one in asked} if keys else {}
    found = {}
    for one in questions:
        named = headings if one.about == About.SECTION else stems
        words = named.get((one.edition_id, one.part), {SOURCE_LANGUAGE: one.part})
        part = PART[About(one.about)].format(in_language(words, SOURCE_LANGUAGE))
        found[one.pk] = f"{in_language(one.edition.title, SOURCE_LANGUAGE)}: {part}"
    return found


def language_note(question: PatientQuestion) -> str:
    """Say in which language to write, and what holds for a translation; "" for English."""
    languages = dict.fromkeys((question.language, question.patient.language))
    if list(languages) == [SOURCE_LANGUAGE]:
        return ""
    asked, reads = name_of(question.language), name_of(question.patient.language)
    said = f"Asked in {asked}; on record the patient reads {reads}."
    return (
        f"{said} Answer in the language of the question. What a machine translated, a qualified "
        "translator has to check."
    )


def answer_words(one: QuestionAnswer, arrived: Arrived | None) -> str:
    """Return how an answer was given and what became of it."""
    means = MEANS[Means(one.means)]
    return f"{means}; {ARRIVED[arrived]}" if arrived else means


def sign_words(found: Found) -> str:
    """Return what in a text may point to one patient."""
    return f"{SIGN[found.sign]}: “{found.words}”"
