"""The starter modules as patients get them: plain, complete, careful and consistent."""

import re
from decimal import Decimal
from pathlib import Path

import pytest
from textstat import flesch_kincaid_grade

import education
from education.readability import Passage, module_passages, together
from education.rules.module_text import (
    ModuleText,
    QuestionText,
    languages_complete,
    read_module,
)
from education.rules.reading import count_words, grade, sentences
from education.rules.scoring import Kind
from patients.rules.languages import BUILT_IN

LANGUAGES = tuple(one.code for one in BUILT_IN)
FOLDER = Path(education.__file__).parent / "starter"
MODULES = {path.stem: read_module(path.read_text()) for path in sorted(FOLDER.glob("*.toml"))}
SAFE_MARKDOWN = re.compile(r"<|\]\(|`|^\s*(?:#|>|\d+\.)|\*\*\*|(?<!\*)\*(?!\*)", re.MULTILINE)


@pytest.fixture(params=MODULES, ids=str)
def module(request: pytest.FixtureRequest) -> ModuleText:
    return MODULES[request.param]


def _text(module: ModuleText, language: str) -> str:
    return "\n".join(f"{s.heading[language]}\n{s.body[language]}" for s in module.sections)


def test_all_modules_are_there() -> None:
    assert {stem: module.code for stem, module in MODULES.items()} == {
        "before_your_operation": "before-operation",
        "eating_and_drinking": "eating-drinking",
        "first_weeks_at_home": "first-weeks",
    }


def test_both_languages_are_complete(module: ModuleText) -> None:
    assert languages_complete(module) == LANGUAGES


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_sentence_is_over_20_words(module: ModuleText, language: str) -> None:
    for passage in module_passages(module, language):
        for sentence in sentences(passage.blocks):
            assert count_words(sentence) <= 20, f"{passage.name}: {sentence}"


def test_every_english_text_and_the_whole_are_grade_6_or_lower(module: ModuleText) -> None:
    passages = module_passages(module, "en")
    for passage in [*passages, together("the whole", passages)]:
        assert grade(passage.blocks) <= 6, passage.name


def test_the_grade_does_not_rest_on_how_lists_are_cut(module: ModuleText) -> None:
    """The stricter reading: list marks taken away, and only full stops end a sentence."""
    for section in module.sections:
        plain = section.body["en"].replace("**", "").replace("\n- ", " ")
        assert flesch_kincaid_grade(plain) <= 6, section.key


@pytest.mark.parametrize("language", LANGUAGES)
def test_sections_are_short_enough_for_a_phone(module: ModuleText, language: str) -> None:
    assert 5 <= len(module.sections) <= 7
    for section in module.sections:
        assert 60 <= count_words(section.body[language]) <= 150, section.key
        assert not SAFE_MARKDOWN.search(section.body[language]), section.key


def test_each_section_tells_staff_where_it_comes_from(module: ModuleText) -> None:
    assert all(len(section.sources) > 40 for section in module.sections)
    assert sum(section.ask_yourself is not None for section in module.sections) >= 2


def test_the_quiz_is_eight_to_twelve_questions_of_every_kind(module: ModuleText) -> None:
    assert 8 <= len(module.questions) <= 12
    assert {question.kind for question in module.questions} == set(Kind)
    assert sum(question.safety_critical for question in module.questions) >= 3


def test_each_question_has_two_versions_that_ask_the_same_in_other_words(
    module: ModuleText,
) -> None:
    for question in module.questions:
        one, two = question.every_version
        assert one.section == two.section, question.key
        assert len(one.options) == len(two.options), question.key
        assert one.shuffle is two.shuffle, question.key
        for language in LANGUAGES:
            assert one.stem[language] != two.stem[language], question.key
            sizes = sorted(count_words(version.stem[language]) for version in (one, two))
            assert sizes[1] <= 2 * sizes[0] + 4, question.key  # about as much to read
        if question.kind in {Kind.NUMBER, Kind.TRUE_FALSE}:  # the last answer is of no use
            right = [[o.key for o in v.options if o.right] or v.answer for v in (one, two)]
            assert right[0] != right[1], question.key
        if question.kind is Kind.SEVERAL:
            assert sum(o.right for o in one.options) == sum(o.right for o in two.options)


def versions(module: ModuleText, *kinds: Kind) -> list[QuestionText]:
    """Return every version of the questions of these kinds."""
    return [v for q in module.questions if q.kind in kinds for v in q.every_version]


def test_choices_can_be_weighed(module: ModuleText) -> None:
    for question in versions(module, Kind.ONE, Kind.SEVERAL):
        if question.kind is Kind.SEVERAL:
            assert len(question.options) == 5
            assert "Choose all that are right." in question.stem["en"]
            assert "Elija todas las respuestas correctas." in question.stem["es"]
            assert 1 < sum(option.right for option in question.options) < len(question.options)
        else:
            assert len(question.options) == 4
        for option in question.options:
            assert not re.search(r"\bof the above\b|\bboth\b", option.text["en"]), question.key


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_right_option_is_not_told_by_its_length(module: ModuleText, language: str) -> None:
    """Common practice of item writing: options of one question are about as long as each other."""
    longest = shortest = 0
    asked = versions(module, Kind.ONE)
    for question in asked:
        lengths = [len(option.text[language]) for option in question.options]
        assert max(lengths) <= 1.5 * min(lengths) + 2, f"{question.key}: {lengths}"
        right = next(len(o.text[language]) for o in question.options if o.right)
        longest += lengths.count(right) == 1 and right == max(lengths)
        shortest += lengths.count(right) == 1 and right == min(lengths)
    assert longest <= len(asked) / 2
    assert shortest <= len(asked) / 2


def test_the_right_option_stands_in_every_place(module: ModuleText) -> None:
    places = [[o.right for o in v.options].index(True) for v in versions(module, Kind.ONE)]
    assert set(places) == {0, 1, 2, 3}
    assert max(map(places.count, places)) <= len(places) / 2


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_number_asked_for_is_explained_in_its_section(module: ModuleText, language: str) -> None:
    for question in versions(module, Kind.NUMBER):
        section = next(s for s in module.sections if s.key == question.section)
        number = re.compile(rf"\b{question.answer}\b")
        assert number.search(section.body[language]), question.key
        assert number.search(question.explanation[language]), question.key


# Module and question, and the arithmetic of each version's answer done here a second time.
NUMBERS = {
    ("before_your_operation", "bottles"): [Decimal(64) / 16, Decimal(64) / 8],
    ("eating_and_drinking", "protein-left"): [Decimal(60 - 45), Decimal(60 - 40)],
    ("first_weeks_at_home", "four-hours"): [Decimal(4 * 60) / 15, Decimal(3 * 60) / 15],
}


def test_every_number_question_is_reckoned_a_second_time() -> None:
    asked = {
        (stem, question.key): [version.answer for version in question.every_version]
        for stem, module in MODULES.items()
        for question in module.questions
        if question.kind is Kind.NUMBER
    }
    assert asked == NUMBERS
    for module in MODULES.values():
        assert all(version.tolerance == 0 for version in versions(module, Kind.NUMBER))


# standards.md 11.1 and design.md section 5: what every patient text must say.
CAUTIONS = {
    "en": [
        "Follow your surgical team",
        "surgical team",
        "insulin",
        "diabetes medicine",
        "blood thinner",
        "blood-pressure or water tablets",
        "pregnant",
        "Do not stop or change",
        "Get emergency care at once",
        "local emergency number",
        "the phone number on this page",
        "Allergies come first",
        "Your team may change this",
        "goals, not a test",
        "US fl oz",
        "grams of protein",
        "does not replace your licensed clinicians",
        "help in your language",
    ],
    "es": [
        "Siga a su equipo de cirugía",
        "equipo de cirugía",
        "insulina",
        "medicina para la diabetes",
        "anticoagulante",
        "pastillas para la presión o para eliminar líquidos",
        "embarazada",
        "No deje ni cambie",
        "Busque atención de emergencia de inmediato",
        "número de emergencias",
        "número de teléfono de esta página",
        "Las alergias van primero",
        "Su equipo puede cambiar esto",
        "metas, no un examen",
        "US fl oz",
        "gramos de proteína",
        "No reemplaza a sus profesionales de salud con licencia",
        "ayuda en su idioma",
    ],
}


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_cautions_are_there(module: ModuleText, language: str) -> None:
    # Emphasis and line breaks are not part of what is said.
    text = " ".join(_text(module, language).replace("**", "").split())
    assert [caution for caution in CAUTIONS[language] if caution not in text] == []


# What only the surgical team may say, or the page itself.
NEVER = {
    "a telephone number": r"\d{3}[-. ]\d{3,4}|\b911\b",
    "a fever number": r"°|\b(?:38|39|100\.4|101|102)\b",
    "a clock time": r"\d\s*(?:a\.?m\.?|p\.?m\.?)\b|\b\d{1,2}:\d\d|midnight|medianoche",
    "a number of hours without food": r"\b(?:\d+|two|six|eight) hours? before|\d+ horas antes",
    "a dose": r"\b\d+\s*(?:mg|mcg|units|unidades)\b",
    "a numeric date": r"\d+/\d+",
    "imperial or unnamed ounces": r"(?<!fl )\boz\b|\bml\b",
}


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("what", NEVER)
def test_nothing_is_said_that_only_the_team_may_say(
    module: ModuleText, language: str, what: str
) -> None:
    for passage in [
        *module_passages(module, language),
        Passage("title", language, (module.title[language],)),
    ]:
        for block in passage.blocks:
            assert not re.search(NEVER[what], block, re.IGNORECASE), f"{passage.name}: {block}"


def test_ounces_are_named_us_fluid_ounces_wherever_english_has_them(module: ModuleText) -> None:
    for passage in module_passages(module, "en"):
        for block in passage.blocks:
            assert len(re.findall(r"\boz\b", block)) == len(re.findall(r"US fl oz\b", block))


def test_section_pointers_lead_to_the_words_that_explain(module: ModuleText) -> None:
    """A safety-critical question is explained where the cautions stand, not in passing."""
    pointed = {q.section for q in module.questions if q.safety_critical}
    assert pointed <= {"call-first", "last-day", "warning-signs", "safety"}
