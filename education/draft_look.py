"""A part of a draft as a patient will see it, while it is still being written.

What is not written yet is shown as “…”, so that the rest can be looked at. Nothing of it stays.
"""

from collections.abc import Callable, Mapping
from datetime import datetime
from decimal import Decimal, InvalidOperation
from typing import Any

from education.draft_parts import entries_name
from education.drafting import as_if_published
from education.markdown import to_html
from education.rules.drawing import Draw
from education.rules.module_parts import (
    ModuleText,
    OptionText,
    QuestionText,
    SectionText,
    in_language,
)
from education.rules.scoring import Kind
from education.shown import ShownQuestion, ShownSection, as_written, shown_question
from education.shown_files import kept_files, shown_pictures, shown_video

Record = dict[str, Any]
GAP = "…"
LOOK_DRAW = Draw("preview", 0)  # options in an order as some patient will see them


def section_look(section: Record, language: str) -> ShownSection:
    """Return a section, its pictures and its video included."""
    pictures, video = section.get("picture", []), section.get("video") or {}
    kept = kept_files([(pictures, video)])
    body = _text(section["body"], language)
    return ShownSection(
        key=section.get("key", "look"),
        heading=_text(section["heading"], language),
        body=to_html(body, shown_pictures(pictures, kept, language)),
        ask_yourself=to_html(in_language(section.get("ask_yourself") or {}, language)),
        video=shown_video(video, kept, language),
    )


def question_look(
    question: Record, language: str, look: Callable[[ShownQuestion], str], *, at: datetime
) -> str:
    """Return what `look` makes of one version of a question, as its page shows it."""
    text = ModuleText(
        code="look",
        pass_mark=100,
        title={language: GAP},
        sections=(SectionText("look", {language: GAP}, {language: GAP}),),
        questions=(_question(question, language),),
    )

    def shown(edition: Any) -> str:
        (one,) = as_written(edition, language)
        return look(shown_question(one.record, language, number=1, total=1, draw=LOOK_DRAW))

    return as_if_published(text, shown, at=at)


def _question(question: Record, language: str) -> QuestionText:
    kind = Kind(question["kind"])
    lines = question.get(entries_name(kind), [])
    number = kind == Kind.NUMBER
    return QuestionText(
        key="look",
        kind=kind,
        safety_critical=bool(question.get("safety_critical")),
        section="look",
        stem={language: _text(question["stem"], language)},
        explanation={language: _text(question.get("explanation") or {}, language)},
        options=() if number else tuple(_option(one, language) for one in lines),
        unit={language: _text(question["unit"], language)} if number else None,
        answer=_decimal(question["answer"]) if number else None,
        tolerance=abs(_decimal(question["tolerance"])) if number else None,
        shuffle=bool(question.get("shuffle")),
    )


def _option(line: Record, language: str) -> OptionText:
    match = line.get("match")
    return OptionText(
        key=line["key"],
        text={language: _text(line["text"], language)},
        place=line.get("place"),
        match={language: _text(match, language)} if match is not None else None,
    )


def _text(words: Mapping[str, str], language: str) -> str:
    return words.get(language, "").strip() or GAP


def _decimal(text: str) -> Decimal:
    try:
        number = Decimal(text)
    except InvalidOperation:
        return Decimal(0)
    return number.quantize(Decimal("0.001")) if abs(number) < 10**8 else Decimal(0)
