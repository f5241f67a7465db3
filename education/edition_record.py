"""An edition as a record like that of a module's file: to begin a draft with, and to compare."""

from decimal import Decimal
from typing import Any

from education.answers_in_words import plain_number
from education.drawn import every_version
from education.models import Edition, Option, Question
from education.rules.scoring import CHOICES, Kind

Record = dict[str, Any]


def record_of(edition: Edition) -> Record:
    """Return everything that an edition says."""
    questions: list[Record] = []
    for question in every_version(edition):
        if question.version == 1:
            questions.append(_question(question))
        else:
            questions[-1].setdefault("version", []).append(_version(question, questions[-1]))
    return {
        "code": edition.module.code,
        "pass_mark": edition.pass_mark,
        "title": dict(edition.title),
        "section": [
            {
                "key": section.key,
                "heading": section.heading,
                "body": section.body,
                **({"ask_yourself": section.ask_yourself} if section.ask_yourself else {}),
                **({"sources": section.sources} if section.sources else {}),
                **({"picture": section.pictures} if section.pictures else {}),
                **({"video": section.video} if section.video else {}),
            }
            for section in edition.sections.all()
        ],
        "question": questions,
    }


def _question(question: Question) -> Record:
    return {
        "key": question.key,
        "kind": question.kind,
        "safety_critical": question.safety_critical,
        "section": question.section.key,
        "stem": question.stem,
        "explanation": question.explanation,
        **({"teach_back": question.teach_back} if question.teach_back else {}),
        **_answers(question),
    }


def _version(question: Question, first: Record) -> Record:
    """What a further version says for itself; the rest it has from the question."""
    return {
        "stem": question.stem,
        **{
            name: value
            for name, value in (
                ("explanation", question.explanation),
                ("section", question.section.key),
                ("teach_back", question.teach_back),
            )
            if value and value != first.get(name)
        },
        **_answers(question),
    }


def _answers(question: Question) -> Record:
    kind = Kind(question.kind)
    options = list(question.options.all())
    if kind == Kind.NUMBER:
        return {
            "unit": question.unit,
            "answer": plain_number(question.number or Decimal(0)),
            "tolerance": plain_number(question.tolerance or Decimal(0)),
        }
    if kind == Kind.ORDER:
        return {"item": [_option(one, place=one.position) for one in options]}
    if kind == Kind.MATCH:
        return {"pair": [_option(one, match=one.match) for one in options]}
    assert kind in CHOICES
    shuffle = {"shuffle": True} if question.shuffle else {}
    return {"option": [_option(one, right=one.right) for one in options], **shuffle}


def _option(option: Option, **own: Any) -> Record:
    return {"key": option.key, "text": option.text, **own}
