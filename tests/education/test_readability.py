"""What patients read: cut out of templates and modules, measured, and the report of it all."""

from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from pytest_django import Settings

from education.page_text import message_blocks, template_blocks
from education.readability import Passage, module_passages, over_goal, read
from education.rules.module_text import read_module

LONG = "You " + "sip " * 20 + "it."


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
    assert [sentence.text for sentence in reading.long_sentences] == [LONG]
    assert over_goal(reading)
    assert reading.grade is None


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
    assert f"22 words: {LONG}" in capsys.readouterr().out


def test_the_patients_texts_of_this_release_are_within_the_goal() -> None:
    """Promise W9, over everything: modules, pages, emails, texts in Python, the catalogue."""
    call_command("readability")


def test_module_passages_hold_every_text(settings: Settings) -> None:
    folder = Path(settings.BASE_DIR) / "education" / "starter"
    module = read_module((folder / "first_weeks_at_home.toml").read_text())
    words = " ".join(block for p in module_passages(module, "es") for block in p.blocks)
    for question in module.questions:
        assert question.stem["es"] in words
        assert question.explanation["es"] in words
        assert all(option.text["es"] in words for option in question.options)
