"""What a module file may say, and what is said about a wrong one: one row each."""

from dataclasses import FrozenInstanceError, replace
from decimal import Decimal
from typing import Any

import pytest

from education.rules.module_text import (
    ModuleText,
    ModuleTextError,
    QuestionText,
    SectionText,
    languages_complete,
    read_module,
)
from education.rules.question_problems import question_problems
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

[[question]]
key = "first"
kind = "order"
safety_critical = false
section = "how"
stem = {en = "What comes first?", es = "¿Qué va primero?"}
explanation = {en = "Sit, sip, wait.", es = "Siéntese, beba, espere."}
[[question.item]]
key = "wait"
place = 3
text = {en = "Wait", es = "Espere"}
[[question.item]]
key = "sit"
place = 1
text = {en = "Sit", es = "Siéntese"}
[[question.item]]
key = "sip"
place = 2
text = {en = "Sip", es = "Beba"}

[[question]]
key = "which"
kind = "match"
safety_critical = true
section = "how"
stem = {en = "What goes with what?", es = "¿Qué va con qué?"}
explanation = {en = "Look again.", es = "Mire otra vez."}
[[question.pair]]
key = "water"
text = {en = "Water", es = "Agua"}
match = {en = "All day", es = "Todo el día"}
[[question.pair]]
key = "broth"
text = {en = "Broth", es = "Caldo"}
match = {en = "At noon", es = "Al mediodía"}
[[question.pair]]
key = "milk"
text = {en = "Milk", es = "Leche"}
match = {en = "At night", es = "De noche"}
[[question.version]]
stem = {en = "Find the pairs.", es = "Busque las parejas."}
[[question.version.pair]]
key = "tea"
text = {en = "Tea", es = "Té"}
match = {en = "In the morning", es = "Por la mañana"}
[[question.version.pair]]
key = "soup"
text = {en = "Soup", es = "Sopa"}
match = {en = "At noon", es = "Al mediodía"}
[[question.version.pair]]
key = "shake"
text = {en = "Shake", es = "Batido"}
match = {en = "At night", es = "De noche"}
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
        'Question "fast": unknown kind "essay"; '
        "known are one, several, true_false, number, order, match.",
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
        'The module: "pass_mark" is 101: nobody can get more than 100 per cent right.',
    ),
    (
        "a pass mark that is yes",
        "pass_mark = 80",
        "pass_mark = true",
        'The module: "pass_mark" must be a whole number.',
    ),
    (
        "two options that read the same",
        'text = {en = "In gulps", es = "A tragos"}',
        'text = {en = " in  SIPS.", es = "A tragos"}',
        'Question "gulp": options "sips" and "gulps" are the same in "en".',
    ),
    (
        "shuffling is not for true or false",
        'kind = "true_false"',
        'kind = "true_false"\nshuffle = true',
        'Question "fast": kind "true_false" takes no "shuffle".',
    ),
    (
        "a unit that is another one in each language",
        '{en = "US fl oz", es = "onzas líquidas (US fl oz)"}',
        '{en = "grams", es = "mililitros"}',
        'Question "hours": "unit" is another one in each language (en, es).',
    ),
    (
        "more than the record can hold",
        'answer = "16"',
        'answer = "16.0001"',
        'Question "hours": "answer" must be below a thousand million, with at most 3 decimals.',
    ),
    (
        "an order with a tie",
        "place = 3",
        "place = 2",
        'Question "first": items "wait" and "sip" have the same place 2; an order has no ties.',
    ),
    (
        "an order with a gap",
        "place = 3",
        "place = 4",
        'Question "first": the places must be the numbers from 1 to 3.',
    ),
    (
        "an item without its place",
        "place = 3",
        "",
        'Question "first", item "wait": "place" must be a whole number.',
    ),
    (
        "two items that read the same",
        '{en = "Sit", es = "Siéntese"}',
        '{en = "Sip", es = "Siéntese"}',
        'Question "first": items "sit" and "sip" are the same in "en"; nobody can tell them apart.',
    ),
    (
        "two items would be given away by never being shown in order",
        '[[question.item]]\nkey = "sit"\nplace = 1\ntext = {en = "Sit", es = "Siéntese"}\n',
        "",
        'Question "first": there are 2 items; give at least 3.',
    ),
    (
        "an order has no options",
        "[[question.item]]",
        "[[question.option]]",
        'Question "first": unknown field "option".',
    ),
    (
        "pairs with one match",
        '{en = "At noon", es = "Al mediodía"}',
        '{en = "At night", es = "Al mediodía"}',
        'Question "which": pairs "broth" and "milk" have the same match in "en"; '
        "it would fit both.",
    ),
    (
        "a pair asked twice",
        '{en = "Broth", es = "Caldo"}',
        '{en = "Broth", es = "agua"}',
        'Question "which": pairs "water" and "broth" ask the same in "es"; it has two answers.',
    ),
    (
        "a version of another kind",
        "[[question.version]]",
        '[[question.version]]\nkind = "order"',
        'Question "which", version 2: unknown field "pair".',
    ),
    (
        "a version with another mark",
        "[[question.version]]",
        "[[question.version]]\nsafety_critical = false",
        'Question "which", version 2: has another safety-critical mark than the question; '
        "all versions have one mark.",
    ),
    (
        "what is wrong with a version is said of the version",
        '{en = "In the morning", es = "Por la mañana"}',
        '{en = "At night", es = "Por la mañana"}',
        'Question "which", version 2: pairs "tea" and "shake" have the same match in "en"; '
        "it would fit both.",
    ),
    (
        "a version has no key of its own",
        "[[question.version]]",
        '[[question.version]]\nkey = "other"',
        'Question "which", version 2: unknown field "key".',
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
    gulp, fast, hours, first, which = module.questions
    assert (module.code, module.pass_mark, module.title["es"]) == ("sipping", 80, "Beber a sorbos")
    assert module.sections[0].body["en"] == "Take small sips."
    assert [question.kind for question in module.questions] == [
        Kind.ONE,
        Kind.TRUE_FALSE,
        Kind.NUMBER,
        Kind.ORDER,
        Kind.MATCH,
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
    assert [(item.key, item.place) for item in first.options] == [
        ("wait", 3),
        ("sit", 1),
        ("sip", 2),
    ]
    assert [pair.match["en"] for pair in which.options if pair.match] == [
        "All day",
        "At noon",
        "At night",
    ]


def test_a_version_has_what_it_does_not_say_from_its_question() -> None:
    which = read_module(GOOD).questions[-1]
    (other,) = which.versions
    assert (other.key, other.kind, other.safety_critical) == ("which", Kind.MATCH, True)
    assert (other.section, other.explanation) == (which.section, which.explanation)
    assert [pair.key for pair in other.options] == ["tea", "soup", "shake"]
    assert which.every_version == (which, other)


def version_of(question: QuestionText, **changes: Any) -> tuple[str, ...]:
    """The problems of a question with a changed copy of it as its second version."""
    both = replace(question, versions=(replace(question, versions=(), **changes),))
    return tuple(problem.message for problem in question_problems(both))


def test_versions_that_contradict_the_question_or_repeat_it() -> None:
    gulp, fast = read_module(GOOD).questions[:2]
    assert version_of(gulp, stem=fast.stem) == ()
    assert version_of(gulp) == ("versions 1 and 2 ask the same; a retake would be the same quiz.",)
    (kind,) = version_of(gulp, kind=Kind.SEVERAL, stem=fast.stem)
    assert kind.startswith('is of kind "several" and the question of kind "one"')


def test_a_section_may_ask_the_reader_something() -> None:
    asking = GOOD.replace(
        "[[question]]", 'ask_yourself = {en = "When?", es = "¿Cuándo?"}\n[[question]]', 1
    )
    (section,) = read_module(asking).sections
    assert section.ask_yourself == {"en": "When?", "es": "¿Cuándo?"}
    with pytest.raises(ModuleTextError, match='Section "how": "ask_yourself" has no text in "es"'):
        read_module(asking.replace(', es = "¿Cuándo?"', ""))


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
