"""Between the forms of the editor and the record of a draft, there and back."""

from typing import Any

from clinic.forms.module_draft import OptionForm
from education.draft_parts import entries_name, new_key
from education.rules.scoring import CHOICES, Kind
from patients.rules.languages import codes

Record = dict[str, Any]


def words(cleaned: Record, name: str) -> Record:
    """Return a text in every language, as its fields have it."""
    return {code: cleaned.get(f"{name}_{code}", "") for code in codes()}


def spread(record: Record, *names: str) -> Record:
    """Return texts as the fields that show each."""
    return {
        f"{name}_{code}": (record.get(name) or {}).get(code, "")
        for name in names
        for code in codes()
    }


def section_record(cleaned: Record, before: Record | None) -> Record:
    """Return a section as its form says; its pictures and its video stay as they were."""
    section: Record = {"heading": words(cleaned, "heading"), "body": words(cleaned, "body")}
    note, sources = words(cleaned, "ask_yourself"), cleaned.get("sources", "")
    if any(note.values()):
        section["ask_yourself"] = note
    section |= {name: before[name] for name in ("picture", "video") if before and name in before}
    return section | ({"sources": sources} if sources else {})


def question_record(kind: str, before: Record, cleaned: Record, options: list[Record]) -> Record:
    """Return a question as its forms say; its versions stay as they were."""
    record: Record = {
        "kind": kind,
        "safety_critical": bool(cleaned.get("safety_critical")),
        "section": cleaned["section"],
        "stem": words(cleaned, "stem"),
        "explanation": words(cleaned, "explanation"),
        **_teach_back(cleaned),
        **answers_record(kind, cleaned, options),
    }
    return record | ({"version": before["version"]} if "version" in before else {})


def version_record(kind: str, cleaned: Record, options: list[Record]) -> Record:
    """Return a further version; what it leaves empty it has from its question."""
    record: Record = {
        "stem": words(cleaned, "stem"),
        **_teach_back(cleaned),
        **answers_record(kind, cleaned, options),
    }
    explanation = words(cleaned, "explanation")
    if any(explanation.values()):
        record["explanation"] = explanation
    if cleaned["section"]:
        record["section"] = cleaned["section"]
    return record


def _teach_back(cleaned: Record) -> Record:
    """Return what staff ask on the phone, where something is written."""
    asked = words(cleaned, "teach_back")
    return {"teach_back": asked} if any(asked.values()) else {}


def answers_record(kind: str, cleaned: Record, options: list[Record]) -> Record:
    """Return what a kind has beside the stem."""
    if kind == Kind.NUMBER:
        return {
            "unit": words(cleaned, "unit"),
            "answer": cleaned["answer"].replace(",", "."),
            "tolerance": cleaned["tolerance"].replace(",", "."),
        }
    shuffle = {"shuffle": True} if cleaned.get("shuffle") else {}
    return {entries_name(kind): options, **shuffle}


def options_record(kind: str, rows: list[OptionForm]) -> list[Record]:
    """Return the lines that have a text. A new line gets a key made of its words."""
    made: list[Record] = []
    for row in rows:
        cleaned = row.cleaned_data
        text, match = words(cleaned, "text"), words(cleaned, "match")
        if not any((*text.values(), *match.values())):
            continue
        taken = {one["key"] for one in made} | {r.cleaned_data.get("key", "") for r in rows}
        key = cleaned.get("key") or new_key(text["en"], taken, f"line-{len(made) + 1}")
        option: Record = {"key": key, "text": text}
        if kind in CHOICES:
            option["right"] = bool(cleaned.get("right"))
        elif kind == Kind.ORDER:
            option["place"] = cleaned.get("place")
        else:
            option["match"] = match
        made.append(option)
    return made


def option_data(kind: str, options: list[Record], spare: int) -> list[Record]:
    """Return the lines as their forms show them, with some empty ones behind."""
    lines = [
        {
            "key": one["key"],
            "place": one.get("place"),
            "right": one.get("right", False),
            **spread(one, "text", "match"),
        }
        for one in options
    ]
    return lines + [{} for _ in range(0 if kind == Kind.TRUE_FALSE else spare)]
