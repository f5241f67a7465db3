"""Write an edition as a FHIR R4 Questionnaire, and a quiz taken in it as QuestionnaireResponse.

A question with one choice carries its mark, 1 or 0, as the ordinal value of the coding that was
chosen, as the official scored example QuestionnaireResponse/gcs does. The score of the whole quiz,
with the pass mark and the safety-critical questions missed, stands in a group of its own.
"""

from zoneinfo import ZoneInfo

from clinic.evidence.fhir_parts import Json, Names, instant
from clinic.evidence.record import Answered, Asked, ClearanceRecord, PublishedEdition, Quiz
from clinic.way_words import came
from education.rules.quiz_way import Way
from education.rules.scoring import Kind
from patients.clock import local_date

ORDINAL = "http://hl7.org/fhir/StructureDefinition/ordinalValue"
COMPLETION_MODE = "http://hl7.org/fhir/StructureDefinition/questionnaireresponse-completionMode"
PARTICIPATION = "http://terminology.hl7.org/CodeSystem/v3-ParticipationMode"
# The three codes of the value set questionnaireresponse-mode.
MODE = {
    Way.LINK: ("ELECTRONIC", "electronic data"),
    Way.KIOSK: ("ELECTRONIC", "electronic data"),
    Way.PAPER: ("WRITTEN", "written"),
    Way.PHONE: ("VERBAL", "verbal"),
}
SCORE = (
    ("right", "Questions answered right", "integer"),
    ("total", "Questions", "integer"),
    ("pass-mark", "Pass mark, in per cent", "integer"),
    ("passed", "Passed", "boolean"),
    ("missed-safety", "Safety-critical questions answered wrong", "string"),
)


def questionnaire(edition: PublishedEdition, names: Names, zone: ZoneInfo) -> Json:
    """Return an edition. The right answers are not part of it."""
    return {
        "resourceType": "Questionnaire",
        "id": names.id("edition", _edition(edition.module, edition.number)),
        "url": _url(edition.module, edition.number, names),
        "version": str(edition.number),
        "title": edition.title,
        "status": "active",
        "subjectType": ["Patient"],
        "date": instant(edition.at),
        **_signed(edition, zone),
        "item": [
            *(_item(asked, edition.module, names) for asked in edition.questions),
            {
                "linkId": "score",
                "text": "Score",
                "type": "group",
                "readOnly": True,
                "item": [
                    {"linkId": f"score.{key}", "text": text, "type": kind, "readOnly": True}
                    for key, text, kind in SCORE
                ],
            },
        ],
    }


def _signed(edition: PublishedEdition, zone: ZoneInfo) -> Json:
    """Return whether a clinician signed the edition, and on which day of the programme's."""
    files = "; ".join(f"{one.what} {one.file}" for one in edition.beside)
    beside = f" It shows beside its words: {files}." if files else ""
    if edition.signed is None:
        said = "No clinician of the programme has signed this edition."
        return {"description": said + beside}
    return {
        "description": f"Signed for the programme by {edition.signed.by}.{beside}",
        "approvalDate": local_date(edition.signed.at, zone).isoformat(),
    }


def _item(asked: Asked, module: str, names: Names) -> Json:
    """Pairs are a group with a choice for each; a question of several versions is not required."""
    item: Json = {
        "linkId": asked.name,
        "text": f"{asked.stem} (in {asked.unit})" if asked.unit else asked.stem,
        "required": asked.always_asked,
    }
    system = _options(module, asked.name, names)
    if asked.kind == Kind.MATCH:
        options = [_option(system, *match) for match in asked.matches]
        parts = [
            {
                "linkId": f"{asked.name}.{key}",
                "text": text,
                "type": "choice",
                "required": True,
                "answerOption": options,
            }
            for key, text in asked.options
        ]
        return {**item, "type": "group", "item": parts}
    return {
        **item,
        "type": "decimal" if asked.kind == Kind.NUMBER else "choice",
        "repeats": asked.kind in (Kind.SEVERAL, Kind.ORDER),
        "answerOption": [_option(system, *option) for option in asked.options],
    }


def _option(system: str, key: str, text: str) -> Json:
    return {"valueCoding": {"system": system, "code": key, "display": text}}


def response(quiz: Quiz, record: ClearanceRecord, names: Names) -> Json:
    """Return a quiz that is the patient's."""
    edition = next(
        one for one in record.editions if (one.module, one.number) == (quiz.module, quiz.edition)
    )
    asked = {one.name: one for one in edition.questions}
    clearance = next((one for one in record.clearances if one.quiz_id == quiz.id), None)
    score: dict[str, Json] = {
        "right": {"valueInteger": quiz.right},
        "total": {"valueInteger": quiz.total},
        "pass-mark": {"valueInteger": quiz.pass_mark},
        "passed": {"valueBoolean": quiz.passed},
        "missed-safety": {"valueString": "; ".join(quiz.missed_safety)},
    }
    return {
        "resourceType": "QuestionnaireResponse",
        "id": names.id("quiz", quiz.id),
        "extension": [_completed(quiz)],
        "questionnaire": f"{_url(quiz.module, quiz.edition, names)}|{quiz.edition}",
        "partOf": [names.to("clearance", clearance.id)] if clearance else [],
        "status": "completed",
        "subject": names.to("patient", record.person.id),
        "authored": instant(quiz.at),
        "author": {"display": quiz.typed_by} if quiz.typed_by else {},
        "source": names.to("patient", record.person.id),
        "item": [
            *(_answered(one, asked[one.name], quiz.module, names) for one in quiz.answers),
            {
                "linkId": "score",
                "item": [
                    {"linkId": f"score.{key}", "answer": [value]}
                    for key, value in score.items()
                    if value.get("valueString") != ""
                ],
            },
        ],
    }


def _completed(quiz: Quiz) -> Json:
    """Return how it was answered, in HL7's code and in words."""
    way = Way(quiz.way)
    code, display = MODE[way]
    return {
        "url": COMPLETION_MODE,
        "valueCodeableConcept": {
            "coding": [{"system": PARTICIPATION, "code": code, "display": display}],
            "text": came(way, quiz.typed_by, quiz.answered_on, quiz.day),
        },
    }


def _answered(answered: Answered, asked: Asked, module: str, names: Names) -> Json:
    """An order is the items in the order that was given: a repeated answer keeps its order."""
    if asked.kind == Kind.NUMBER:
        numbers: list[Json] = [{"valueDecimal": float(number)} for number in answered.given]
        return {"linkId": asked.name, "answer": numbers}
    system = _options(module, asked.name, names)
    if asked.kind == Kind.MATCH:
        text = dict(asked.matches)
        parts = [
            {"linkId": f"{asked.name}.{part}", "answer": [_option(system, chosen, text[chosen])]}
            for part, chosen in zip(answered.parts, answered.given, strict=True)
        ]
        return {"linkId": asked.name, "item": parts}
    mark: Json = {}
    if asked.kind in (Kind.ONE, Kind.TRUE_FALSE):
        mark = {"extension": [{"url": ORDINAL, "valueDecimal": int(answered.right)}]}
    texts = dict(asked.options)
    answers = [
        {"valueCoding": {**mark, "system": system, "code": key, "display": texts[key]}}
        for key in answered.given
    ]
    return {"linkId": asked.name, "answer": answers}


def _edition(module: str, number: int) -> str:
    return f"{module} {number}"


def _url(module: str, number: int, names: Names) -> str:
    return f"urn:uuid:{names.id('edition', _edition(module, number))}"


def _options(module: str, question: str, names: Names) -> str:
    return f"{names.site}/modules/{module}/{question}"
