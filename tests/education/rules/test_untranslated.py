"""What of a module is missing in a language. No database."""

from typing import Any

from education.rules.untranslated import Missing, Part, missing_in_module, missing_texts

RECORD: dict[str, Any] = {
    "code": "plain",
    "pass_mark": 80,
    "title": {"en": "Drinks", "es": "Bebidas"},
    "section": [
        {
            "key": "sips",
            "heading": {"en": "Sips", "es": "Sorbos"},
            "body": {"en": "Take sips.", "es": " "},
            "ask_yourself": {"en": "How many?"},
            "sources": "Common practice.",
            "picture": [{"key": "cup", "file": "cup.png", "alt": {"en": "A cup"}}],
        }
    ],
    "question": [
        {
            "key": "tea",
            "kind": "one",
            "stem": {"en": "Tea?", "es": "¿Té?"},
            "explanation": {"en": "Tea is fine.", "es": ""},
            "option": [
                {"key": "yes", "text": {"en": "Yes", "es": "Sí"}, "right": True},
                {"key": "no", "text": {"en": "No"}, "right": False},
            ],
            "version": [{"stem": {"en": "Coffee?"}, "option": []}],
        },
        {"key": "new", "kind": "one", "stem": {"en": "", "es": ""}, "option": []},
    ],
}


def test_everything_that_english_has_and_the_language_has_not() -> None:
    assert missing_in_module(RECORD, "es") == (
        Missing(Part.SECTION, "sips", "Take sips."),
        Missing(Part.ASK_YOURSELF, "sips", "How many?"),
        Missing(Part.FILE, "sips", "A cup"),
        Missing(Part.EXPLANATION, "tea", "Tea is fine."),
        Missing(Part.OPTION, "tea", "No"),
        Missing(Part.QUESTION, "tea", "Coffee?", 2),
    )
    assert missing_in_module(RECORD, "en") == ()
    assert len(missing_in_module(RECORD, "fr")) == 10


def test_texts_by_name() -> None:
    texts: dict[str, dict[str, Any]] = {
        "name": {"en": "Liquids"},
        "allowed": {"en": ("Milk",), "es": ("Leche",)},
        "meal": {},
    }
    assert missing_texts(texts, "es") == ("name",)
