"""What staff read about patients' questions: where one stands, what it is about, the next step."""

from education.models import Edition, PatientQuestion, QuestionAnswer
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


def about_words(question: PatientQuestion) -> str:
    """Return what a question is about, as staff call it."""
    part = _part(question.edition, About(question.about), question.part)
    return f"{in_language(question.edition.title, SOURCE_LANGUAGE)}: {part}"


def _part(edition: Edition, about: About, key: str) -> str:
    if about == About.SECTION:
        section = edition.sections.filter(key=key).first()
        return f"section “{in_language(section.heading, SOURCE_LANGUAGE)}”" if section else key
    if about == About.QUESTION:
        rows = edition.questions.filter(key=key.partition(".")[0])
        asked = next((one for one in rows if one.name == key), None)
        return f"question “{in_language(asked.stem, SOURCE_LANGUAGE)}”" if asked else key
    return "the result" if about == About.RESULT else "the module"


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
