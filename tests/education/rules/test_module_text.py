"""What a module file may say, and what is said about a wrong one: one row each."""

from dataclasses import FrozenInstanceError, replace
from decimal import Decimal

import pytest

from education.rules.module_text import (
    ModuleText,
    ModuleTextError,
    SectionText,
    languages_complete,
    read_module,
)
from education.rules.scoring import Kind

GOOD = """
code = "sipping"
pass_mark = 80
title = {en = "Sipping", es = "Beber a sorbos"}

[[section]]
key = "how"
heading = {en = "How", es = "Cómo"}
body = {en = "Take small sips.", es = "Tome sorbos pequeños."}

[[question]]
key = "gulp"
kind = "one"
safety_critical = true
section = "how"
stem = {en = "How do you drink?", es = "¿Cómo bebe?"}
explanation = {en = "In sips.", es = "A sorbos."}
[[question.option]]
key = "sips"
text = {en = "In sips", es = "A sorbos"}
right = true
[[question.option]]
key = "gulps"
text = {en = "In gulps", es = "A tragos"}
right = false

[[question]]
key = "fast"
kind = "true_false"
safety_critical = false
section = "how"
stem = {en = "Fast is good.", es = "Rápido es bueno."}
explanation = {en = "No.", es = "No."}
[[question.option]]
key = "true"
text = {en = "True", es = "Verdadero"}
right = false
[[question.option]]
key = "false"
text = {en = "False", es = "Falso"}
right = true

[[question]]
key = "hours"
kind = "number"
safety_critical = false
section = "how"
stem = {en = "How much in 4 hours?", es = "¿Cuánto en 4 horas?"}
explanation = {en = "16.", es = "16."}
unit = {en = "US fl oz", es = "onzas líquidas (US fl oz)"}
answer = "16"
tolerance = "0.5"
"""

# reason, what to replace in GOOD, by what, the problem that must be named
WRONG = [
    (
        "a text without its Spanish",
        'heading = {en = "How", es = "Cómo"}',
        'heading = {en = "How"}',
        'Section "how": "heading" has no text in "es".',
    ),
    (
        "English is the source and always there",
        'title = {en = "Sipping", es = "Beber a sorbos"}',
        'title = {es = "Beber a sorbos"}',
        'The module: "title" has no text in "en".',
    ),
    (
        "blanks are no text",
        '"A tragos"',
        '"  "',
        'Question "gulp", option "gulps": "text" in "es" is empty or no text.',
    ),
    (
        "a language nobody reads yet",
        'heading = {en = "How", es = "Cómo"}',
        'heading = {en = "How", es = "Cómo", xx = "?"}',
        'Section "how": "heading" has the unknown language "xx"; known are en, es.',
    ),
    (
        "Spanish in one place only: the title says what the module is written in",
        'title = {en = "Sipping", es = "Beber a sorbos"}',
        'title = {en = "Sipping"}',
        'Section "how": "heading" has a text in "es", but the title has none.',
    ),
    (
        "no text at all",
        'stem = {en = "How do you drink?", es = "¿Cómo bebe?"}',
        "",
        'Question "gulp": "stem" is missing; give it as one text for each language (en, es).',
    ),
    (
        "one text for all languages",
        'stem = {en = "How do you drink?", es = "¿Cómo bebe?"}',
        'stem = "How do you drink?"',
        'Question "gulp": "stem" is missing; give it as one text for each language (en, es).',
    ),
    (
        "a question nobody can get right",
        'text = {en = "In sips", es = "A sorbos"}\nright = true',
        'text = {en = "In sips", es = "A sorbos"}\nright = false',
        'Question "gulp": no option is right.',
    ),
    (
        "two right answers where one can be chosen",
        'text = {en = "In gulps", es = "A tragos"}\nright = false',
        'text = {en = "In gulps", es = "A tragos"}\nright = true',
        'Question "gulp": 2 options are right; kind "one" takes one.',
    ),
    (
        "true and false both right",
        'text = {en = "True", es = "Verdadero"}\nright = false',
        'text = {en = "True", es = "Verdadero"}\nright = true',
        'Question "fast": 2 options are right; kind "true_false" takes one.',
    ),
    (
        "true or false with its own keys",
        'key = "true"',
        'key = "yes"',
        'Question "fast": kind "true_false" takes two options, with the keys "true" and "false".',
    ),
    (
        "right is neither yes nor no",
        'text = {en = "In gulps", es = "A tragos"}\nright = false',
        'text = {en = "In gulps", es = "A tragos"}\nright = "no"',
        'Question "gulp", option "gulps": "right" must be true or false.',
    ),
    (
        "one option leaves no choice",
        '[[question.option]]\nkey = "gulps"\n'
        'text = {en = "In gulps", es = "A tragos"}\nright = false\n',
        "",
        'Question "gulp": one option leaves nothing to choose; give at least 2.',
    ),
    (
        "no number is closer than 0",
        'tolerance = "0.5"',
        'tolerance = "-1"',
        'Question "hours": "tolerance" must not be negative.',
    ),
    (
        "a number without quotes would be read as a binary fraction elsewhere",
        'answer = "16"',
        "answer = 16",
        'Question "hours": "answer" must be a number in quotes, such as "64".',
    ),
    (
        "not a number",
        'answer = "16"',
        'answer = "NaN"',
        'Question "hours": "answer" must be a number in quotes, such as "64".',
    ),
    (
        "a number without its unit: whose ounces?",
        'unit = {en = "US fl oz", es = "onzas líquidas (US fl oz)"}',
        "",
        'Question "hours": "unit" is missing; give it as one text for each language (en, es).',
    ),
    (
        "the section that should explain it is not there",
        'safety_critical = true\nsection = "how"',
        'safety_critical = true\nsection = "why"',
        'Question "gulp": "section" points to "why", which is no section.',
    ),
    (
        "two questions of one name",
        'key = "fast"',
        'key = "gulp"',
        'The module: 2 questions have the key "gulp".',
    ),
    (
        "two options of one name",
        'key = "gulps"',
        'key = "sips"',
        'Question "gulp": 2 options have the key "sips".',
    ),
    (
        "a key that cannot stand in an address",
        'key = "how"',
        'key = "How to sip"',
        'Section "How to sip": "key" takes small letters, digits and single hyphens, '
        "at most 60 of them.",
    ),
    (
        "a kind nobody knows",
        'kind = "true_false"',
        'kind = "essay"',
        'Question "fast": unknown kind "essay"; known are one, several, true_false, number.',
    ),
    (
        "a slip in a field's name must not pass as nothing",
        "safety_critical = true",
        "safety_critical = true\nsaftey_note = 1",
        'Question "gulp": unknown field "saftey_note".',
    ),
    (
        "a choice has no tolerance",
        "safety_critical = true",
        'safety_critical = true\ntolerance = "1"',
        'Question "gulp": unknown field "tolerance".',
    ),
    (
        "a field at the top",
        "pass_mark = 80",
        "pass_mark = 80\nattempts = 3",
        'The module: unknown field "attempts".',
    ),
    (
        "safety must be said, not left out",
        "safety_critical = true\n",
        "",
        'Question "gulp": "safety_critical" must be true or false.',
    ),
    (
        "a pass mark that everyone reaches",
        "pass_mark = 80",
        "pass_mark = 0",
        'The module: "pass_mark" must be a whole number from 1 to 100.',
    ),
    (
        "a pass mark that nobody reaches",
        "pass_mark = 80",
        "pass_mark = 101",
        'The module: "pass_mark" must be a whole number from 1 to 100.',
    ),
    ("no code", 'code = "sipping"', "", 'The module: "code" is missing or is no text.'),
]


@pytest.mark.parametrize(
    ("old", "new", "problem"), [row[1:] for row in WRONG], ids=[row[0] for row in WRONG]
)
def test_a_wrong_module_is_refused_and_the_key_named(old: str, new: str, problem: str) -> None:
    assert old in GOOD
    with pytest.raises(ModuleTextError) as caught:
        read_module(GOOD.replace(old, new, 1))
    assert problem in caught.value.problems


def test_every_problem_is_reported_at_once() -> None:
    text = GOOD.replace('"true_false"', '"essay"').replace('"16"', '"many"').replace("= 80", "= 0")
    with pytest.raises(ModuleTextError) as caught:
        read_module(text)
    assert len(caught.value.problems) == 3
    assert str(caught.value).splitlines() == list(caught.value.problems)


@pytest.mark.parametrize("text", ["", "code = ", 'code = "a"\ncode = "b"', "section = 3"])
def test_what_is_no_module_at_all_is_refused(text: str) -> None:
    with pytest.raises(ModuleTextError):
        read_module(text)


def test_a_good_module_is_read_as_written() -> None:
    module = read_module(GOOD)
    gulp, fast, hours = module.questions
    assert (module.code, module.pass_mark, module.title["es"]) == ("sipping", 80, "Beber a sorbos")
    assert module.sections[0].body["en"] == "Take small sips."
    assert [question.kind for question in module.questions] == [
        Kind.ONE,
        Kind.TRUE_FALSE,
        Kind.NUMBER,
    ]
    assert [(option.key, option.right) for option in gulp.options] == [
        ("sips", True),
        ("gulps", False),
    ]
    assert (gulp.safety_critical, fast.safety_critical) == (True, False)
    assert (gulp.answer, gulp.unit) == (None, None)
    assert (hours.answer, hours.tolerance) == (Decimal(16), Decimal("0.5"))
    assert hours.unit is not None
    assert hours.unit["es"] == "onzas líquidas (US fl oz)"


def test_a_module_cannot_be_changed_once_read() -> None:
    module = read_module(GOOD)
    with pytest.raises(FrozenInstanceError):
        module.pass_mark = 50  # type: ignore[misc]
    with pytest.raises(TypeError):
        module.title["en"] = "Gulping"  # type: ignore[index]


def _with_heading(module: ModuleText, heading: dict[str, str]) -> ModuleText:
    section = SectionText("how", heading, module.sections[0].body)
    return replace(module, sections=(section,))


@pytest.mark.parametrize(
    ("reason", "heading", "complete"),
    [
        ("both are there", {"en": "How", "es": "Cómo"}, ("en", "es")),
        ("one text has no Spanish", {"en": "How"}, ("en",)),
        ("a blank Spanish text is none", {"en": "How", "es": " "}, ("en",)),
        ("one text has no English", {"es": "Cómo"}, ("es",)),
        ("one text has nothing", {}, ()),
    ],
)
def test_a_language_is_complete_only_with_every_text(
    reason: str, heading: dict[str, str], complete: tuple[str, ...]
) -> None:
    module = _with_heading(read_module(GOOD), heading)
    assert languages_complete(module) == complete, reason
