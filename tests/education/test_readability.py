"""Cutting texts into sentences, and grading them."""

from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from pytest_django import Settings

from education import readability
from education.readability import (
    Passage,
    count_words,
    grade,
    markdown_blocks,
    message_blocks,
    read,
    sentences,
    template_blocks,
)
from education.rules.module_text import read_module

LONG = "You " + "sip " * 20 + "it."


# standards.md section 3.2, rows RD-1 to RD-3: published sentences with their published counts. A
# syllable counter may differ from another by one or two, so the band is one grade either way.
@pytest.mark.parametrize(
    ("row", "text", "published"),
    [
        ("RD-1", "The cat sat on the mat.", -1.45),
        (
            "RD-2",
            "This sentence, taken as a reading passage unto itself, "
            "is being used to prove a point.",
            7.61,
        ),
        (
            "RD-3",
            "The Australian platypus is seemingly a hybrid of a mammal and reptilian creature.",
            11.26,
        ),
    ],
)
def test_grades_agree_with_published_ones(row: str, text: str, published: float) -> None:
    assert grade([text]) == pytest.approx(published, abs=1), row


@pytest.mark.parametrize(
    ("reason", "text", "words"),
    [
        ("signs are no words", "Sip - do not gulp!", 4),
        ("a thousands comma stays inside", "800 to 1,200 calories", 4),
        ("a hyphen joins", "blood-pressure tablets", 2),
        ("an apostrophe joins", "the surgeon's way", 3),
        ("Spanish letters", "¿Cuántas onzas líquidas?", 3),
    ],
)
def test_words_are_counted(reason: str, text: str, words: int) -> None:
    assert count_words(text) == words, reason


@pytest.mark.parametrize(
    ("reason", "blocks", "expected"),
    [
        ("two in a paragraph", ["Sip. Rest!"], ["Sip.", "Rest!"]),
        ("a block ends a sentence", ["Call if you", "feel ill"], ["Call if you", "feel ill"]),
        ("a closing quote belongs to its sentence", ['Say "Stop." Then go.'], 2),
        ("a decimal point does not end it", ["It is 38.5 today."], 1),
        ("Spanish question marks", ["¿Le duele? Llame."], ["¿Le duele?", "Llame."]),
    ],
)
def test_sentences_are_cut(reason: str, blocks: list[str], expected: list[str] | int) -> None:
    found = sentences(blocks)
    assert (len(found) if isinstance(expected, int) else found) == expected, reason


def test_markdown_is_cut_into_blocks() -> None:
    text = "### Sip\n\nTake **small**\nsips.\n\nUse:\n- a cup\n- a timer\n  that rings\n"
    assert markdown_blocks(text) == (
        "Sip",
        "Take small sips.",
        "Use:",
        "a cup",
        "a timer that rings",
    )


@pytest.mark.parametrize(
    ("reason", "template", "blocks"),
    [
        ("translated text", '<p>{% trans "Sip it." %}</p>', ("Sip it.",)),
        ("the newer name", "{% translate 'Sip it.' %}", ("Sip it.",)),
        ("text left untranslated is read too", "<h1>Sip</h1>", ("Sip",)),
        (
            "a value counts as a word, an inline tag does not break",
            "<p>{% blocktranslate %}Call <b>{{ name }}</b> now.{% endblocktranslate %}</p>",
            ("Call it now.",),
        ),
        (
            "the plural is a text of its own",
            "{% blocktrans count n=n %}One try.{% plural %}{{ n }} tries.{% endblocktrans %}",
            ("One try.", "it tries."),
        ),
        ("a block tag breaks", "<li>a cup</li><li>a timer</li>", ("a cup", "a timer")),
        ("a text kept for later", '<p>Go {% trans "Sip." as t %} on</p>', ("Go", "Sip.", "on")),
        (
            "comments, scripts and attributes are not read",
            '{# a #}{% comment %}b{% endcomment %}<!-- c --><script>d</script><p title="e">f</p>',
            ("f",),
        ),
        ("an email in plain text", "Sip it\nslowly.\n\nRest.", ("Sip it slowly.", "Rest.")),
        ("signs of markup in a text", '{% trans "1 < 2 & 3" %}', ("1 < 2 & 3",)),
    ],
)
def test_templates_are_cut_without_rendering(
    reason: str, template: str, blocks: tuple[str, ...]
) -> None:
    assert template_blocks(template) == blocks, reason


def test_messages_are_cut_with_their_placeholders_filled() -> None:
    assert message_blocks(["Try %(n)s of {total}.", ("<b>One</b> try", "%d tries")]) == (
        "Try it of it.",
        "One try",
        "it tries",
    )


def test_a_long_sentence_is_over_the_goal_in_any_language() -> None:
    reading = read(Passage("page", "es", ("Tome sorbos.", LONG)))
    assert reading.long_sentences == (LONG,)
    assert reading.over_goal
    assert reading.grade is None


def test_a_hard_text_is_over_the_goal() -> None:
    hard = ("Administration of anticoagulant medication necessitates preoperative evaluation.",) * 4
    assert read(Passage("page", "en", hard)).over_goal


def test_a_few_words_get_no_grade_of_their_own() -> None:
    reading = read(Passage("page", "en", ("Preoperative nutritional evaluation",)))
    assert reading.grade is None
    assert not reading.over_goal


@pytest.fixture
def project(tmp_path: Path, settings: Settings) -> Path:
    settings.BASE_DIR = tmp_path
    (tmp_path / "templates" / "education").mkdir(parents=True)
    return tmp_path


def test_the_command_passes_the_starter_modules(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    call_command("readability")
    printed = capsys.readouterr().out
    assert "Module before-operation, as a whole" in printed
    assert "OVER" not in printed


def test_the_command_fails_on_a_long_sentence_and_shows_it(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = project / "templates" / "education" / "result.html"
    page.write_text(f'<p>{{% trans "{LONG}" %}}</p>')
    with pytest.raises(CommandError, match=r"result\.html"):
        call_command("readability")
    assert f"over 20 words: {LONG}" in capsys.readouterr().out


def test_the_command_says_what_to_install(project: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(readability, "flesch_kincaid_grade", None)
    with pytest.raises(CommandError, match=r"pip install textstat==0\.7\.8"):
        call_command("readability")


def test_the_patients_texts_of_this_release_are_within_the_goal() -> None:
    """Promise W9, over everything: modules, pages, emails, texts in Python, the catalogue."""
    call_command("readability")


def test_module_passages_hold_every_text(settings: Settings) -> None:
    folder = Path(settings.BASE_DIR) / "education" / "starter"
    module = read_module((folder / "first_weeks_at_home.toml").read_text())
    words = " ".join(block for p in readability.module_passages(module, "es") for block in p.blocks)
    for question in module.questions:
        assert question.stem["es"] in words
        assert question.explanation["es"] in words
        assert all(option.text["es"] in words for option in question.options)
