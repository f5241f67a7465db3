"""Write an edition as a FHIR R4 Questionnaire, and a quiz taken in it as QuestionnaireResponse.

A question with one choice carries its mark, 1 or 0, as the ordinal value of the coding that was
chosen, as the official scored example QuestionnaireResponse/gcs does. The score of the whole quiz,
with the pass mark and the safety-critical questions missed, stands in a group of its own.
"""

from clinic.evidence.fhir_parts import Json, Names, instant
from clinic.evidence.record import Answered, Asked, ClearanceRecord, PublishedEdition, Quiz
from education.rules.scoring import Kind

ORDINAL = "http://hl7.org/fhir/StructureDefinition/ordinalValue"
SCORE = (
    ("right", "Questions answered right", "integer"),
    ("total", "Questions", "integer"),
    ("pass-mark", "Pass mark, in per cent", "integer"),
    ("passed", "Passed", "boolean"),
    ("missed-safety", "Safety-critical questions answered wrong", "string"),
)


def questionnaire(edition: PublishedEdition, names: Names) -> Json:
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


def _item(asked: Asked, module: str, names: Names) -> Json:
    number = asked.kind == Kind.NUMBER
    stem = f"{asked.stem} (in {asked.unit})" if asked.unit else asked.stem
    return {
        "linkId": asked.key,
        "text": stem,
        "type": "decimal" if number else "choice",
        "required": True,
        "repeats": asked.kind == Kind.SEVERAL,
        "answerOption": [
            {
                "valueCoding": {
                    "system": _options(module, asked.key, names),
                    "code": key,
                    "display": text,
                }
            }
            for key, text in asked.options
        ],
    }


def response(quiz: Quiz, record: ClearanceRecord, names: Names) -> Json:
    """Return a quiz that is the patient's."""
    edition = next(
        one for one in record.editions if (one.module, one.number) == (quiz.module, quiz.edition)
    )
    kinds = {asked.key: asked.kind for asked in edition.questions}
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
        "questionnaire": f"{_url(quiz.module, quiz.edition, names)}|{quiz.edition}",
        "partOf": [names.to("clearance", clearance.id)] if clearance else [],
        "status": "completed",
        "subject": names.to("patient", record.person.id),
        "authored": instant(quiz.at),
        "source": names.to("patient", record.person.id),
        "item": [
            *(
                {
                    "linkId": one.key,
                    "answer": _answers(one, kinds[one.key], quiz.module, names),
                }
                for one in quiz.answers
            ),
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


def _answers(answered: Answered, kind: str, module: str, names: Names) -> list[Json]:
    if kind == Kind.NUMBER:
        return [{"valueDecimal": float(number)} for number in answered.given]
    mark: Json = {}
    if kind != Kind.SEVERAL:
        mark = {"extension": [{"url": ORDINAL, "valueDecimal": int(answered.right)}]}
    system = _options(module, answered.key, names)
    return [
        {"valueCoding": {**mark, "system": system, "code": key, "display": words}}
        for key, words in zip(answered.given, answered.words, strict=True)
    ]


def _edition(module: str, number: int) -> str:
    return f"{module} {number}"


def _url(module: str, number: int, names: Names) -> str:
    return f"urn:uuid:{names.id('edition', _edition(module, number))}"


def _options(module: str, question: str, names: Names) -> str:
    return f"{names.site}/modules/{module}/{question}"
