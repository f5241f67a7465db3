"""The Spanish catalogue: taken from the sources, merged, compiled, checked."""

import gettext
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.conf import settings as project_settings
from django.core.management import CommandError, call_command
from pytest_django import Settings

from education.translations import (
    CATALOGUE,
    catalogue_problems,
    extract_messages,
    python_messages,
    template_messages,
    update_catalogue,
)

NOW = datetime(2026, 3, 10, 9, 30, tzinfo=UTC)

PAGE = """{% load i18n %}
<main>
    <h1>{% trans "Your result" %}</h1>
        <p>{% blocktranslate trimmed with name=programme.name %}
            Call {{ name }}
            now.
        {% endblocktranslate %}</p>
  <p>{% blocktrans trimmed count n=left %}
{{ n }} try left{% plural %}{{ n }} tries left{% endblocktrans %}</p>
</main>
"""
CODE = """from django.utils.translation import gettext_lazy as _, ngettext

LABEL = _("Date of birth")


def left(n: int) -> str:
    return ngettext("%(n)d day", "%(n)d days", n) % {"n": n}
"""


@pytest.fixture
def project(tmp_path: Path, settings: Settings) -> Path:
    """A project with one page, one email and one Python file that patients read."""
    settings.BASE_DIR = tmp_path
    _write(tmp_path, "templates/education/result.html", PAGE)
    _write(tmp_path, "templates/emails/link/subject.txt", '{% trans "A message for you" %}')
    _write(tmp_path, "education/forms.py", CODE)
    return tmp_path


def _write(root: Path, name: str, text: str) -> None:
    path = root / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)


def _translate(root: Path, pairs: dict[str, str]) -> None:
    """Fill in translations as a person would, in the .po file; `pairs` holds msgid and msgstr."""
    text = (root / CATALOGUE).read_text()
    for msgid, msgstr in pairs.items():
        before = f'msgid "{msgid}"\nmsgstr ""'
        assert before in text, msgid
        text = text.replace(before, f'msgid "{msgid}"\nmsgstr "{msgstr}"')
    (root / CATALOGUE).write_text(text)


def _translate_all(root: Path) -> None:
    _translate(
        root,
        {
            "Your result": "Su resultado",
            "Call %(name)s now.": "Llame a %(name)s ahora.",
            "A message for you": "Un mensaje para usted",
            "Date of birth": "Fecha de nacimiento",
        },
    )
    text = (root / CATALOGUE).read_text()
    plurals = [("%(n)s try left", "intento"), ("%(n)d day", "día")]
    for singular, word in plurals:
        start = text.index(f'msgid "{singular}"')
        mark = singular.split()[0]
        filled = (
            text[start:]
            .replace('msgstr[0] ""', f'msgstr[0] "{mark} {word}"', 1)
            .replace('msgstr[1] ""', f'msgstr[1] "{mark} {word}s"', 1)
        )
        text = text[:start] + filled
    (root / CATALOGUE).write_text(text)


@pytest.mark.parametrize(
    ("reason", "template", "found"),
    [
        ("a text", '{% trans "Sip" %}', [(None, "Sip")]),
        ("the newer name", "{% translate 'Sip' %}", [(None, "Sip")]),
        ("with a context", '{% trans "May" context "month" %}', [("month", "May")]),
        (
            "a block, with blanks trimmed",
            "{% blocktranslate trimmed %}\n  Sip\n  it\n{% endblocktranslate %}",
            [(None, "Sip it")],
        ),
        (
            "a plural",
            "{% blocktranslate count n=n %}{{ n }} a{% plural %}{{ n }} b{% endblocktranslate %}",
            [(None, ("%(n)s a", "%(n)s b"))],
        ),
        ("in a filter's argument", '{{ name|default:_("None") }}', [(None, "None")]),
        ("in another tag", '{% include "x.html" with t=_("Go") %}', [(None, "Go")]),
        ("quotes and a per cent sign", "{% trans 'Say \"no\" 5%' %}", [(None, 'Say "no" 5%%')]),
        ("text not marked is not taken", "<p>Sip</p>", []),
        ("a comment is not taken", '{% comment %}{% trans "Sip" %}{% endcomment %}', []),
        (
            "indentation that no Python file could have",
            '<a>\n    {% trans "A" %}\n  {% trans "B" %}\n      ( {% trans "C" %}',
            [(None, "A"), (None, "B"), (None, "C")],
        ),
    ],
)
def test_messages_are_found_in_templates(
    reason: str, template: str, found: list[tuple[str | None, str | tuple[str, str]]]
) -> None:
    messages = template_messages(template, "page.html")
    assert [(message.context, message.id) for message in messages] == found, reason


@pytest.mark.parametrize(
    ("reason", "source", "found"),
    [
        ("the short name", '_("Sip")', [(None, "Sip")]),
        ("lazy", 'gettext_lazy("Sip")', [(None, "Sip")]),
        ("only marked", 'gettext_noop("Sip")', [(None, "Sip")]),
        ("with a context", 'pgettext("month", "May")', [("month", "May")]),
        ("a plural", 'ngettext("a", "b", n)', [(None, ("a", "b"))]),
        ("a plural, lazy", 'ngettext_lazy("a", "b", "n")', [(None, ("a", "b"))]),
        ("a plural with a context", 'npgettext("c", "a", "b", n)', [("c", ("a", "b"))]),
        ("cut over lines", '_(\n    "Sip "\n    "it"\n)', [(None, "Sip it")]),
        ("accents", '_("Sí")', [(None, "Sí")]),
        ("a text not marked", 'print("Sip")', []),
    ],
)
def test_messages_are_found_in_python(
    reason: str, source: str, found: list[tuple[str | None, str | tuple[str, str]]]
) -> None:
    assert [(m.context, m.id) for m in python_messages(source)] == found, reason


def test_only_what_patients_read_is_taken(project: Path) -> None:
    _write(project, "templates/clinic/list.html", '{% trans "Morning list" %}')
    _write(project, "clinic/views.py", 'x = _("Staff only")')
    _write(project, "education/admin.py", 'x = _("Staff only")')
    _write(project, "education/migrations/0001_initial.py", 'x = _("Staff only")')
    _write(project, "education/management/commands/run.py", 'x = _("Staff only")')
    _write(project, "patients/dates.py", 'x = _("March")')
    ids = {message.id for message in extract_messages(project) if message.id}
    assert ids == {
        "Your result",
        "Call %(name)s now.",
        ("%(n)s try left", "%(n)s tries left"),
        "A message for you",
        "Date of birth",
        ("%(n)d day", "%(n)d days"),
        "March",
    }


def test_a_translated_catalogue_is_in_step_and_read_by_gettext(project: Path) -> None:
    update_catalogue(project, NOW)
    _translate_all(project)
    update_catalogue(project, NOW)
    assert catalogue_problems(project) == []
    # The standard library's own reader, which Django uses, is the judge of the .mo file.
    with (project / CATALOGUE).with_suffix(".mo").open("rb") as file:
        spanish = gettext.GNUTranslations(file)
    assert spanish.gettext("Your result") == "Su resultado"
    assert spanish.ngettext("%(n)d day", "%(n)d days", 1) == "%(n)d día"
    assert spanish.ngettext("%(n)d day", "%(n)d days", 5) == "%(n)d días"


def test_a_second_update_changes_no_byte(project: Path) -> None:
    update_catalogue(project, NOW)
    before = (project / CATALOGUE).read_bytes()
    update_catalogue(project, datetime(2027, 1, 1, tzinfo=UTC))
    assert (project / CATALOGUE).read_bytes() == before


def test_a_changed_text_loses_its_translation_and_is_never_guessed(project: Path) -> None:
    update_catalogue(project, NOW)
    _translate_all(project)
    _write(project, "templates/emails/link/subject.txt", '{% trans "A message for you!" %}')
    catalogue = update_catalogue(project, NOW)
    message = catalogue.get("A message for you!")
    assert message is not None
    assert not message.string
    assert not message.fuzzy
    assert catalogue.get("A message for you") is None
    assert "Un mensaje" not in (project / CATALOGUE).read_text()
    kept = catalogue.get("Your result")
    assert kept is not None
    assert kept.string == "Su resultado"


def _change_page(root: Path) -> None:
    _write(root, "templates/education/result.html", PAGE.replace("Your result", "Your new result"))


def _lose_a_translation(root: Path) -> None:
    path = root / CATALOGUE
    path.write_text(path.read_text().replace('"Su resultado"', '""'))
    update_catalogue(root, NOW)


def _lose_a_plural_form(root: Path) -> None:
    path = root / CATALOGUE
    path.write_text(path.read_text().replace('"%(n)d días"', '""'))
    update_catalogue(root, NOW)


def _mark_fuzzy(root: Path) -> None:
    path = root / CATALOGUE
    path.write_text(
        path.read_text().replace('msgid "Your result"', '#, fuzzy\nmsgid "Your result"')
    )
    update_catalogue(root, NOW)


def _misspell_a_placeholder(root: Path) -> None:
    path = root / CATALOGUE
    path.write_text(path.read_text().replace("Llame a %(name)s", "Llame a %(nombre)s"))
    update_catalogue(root, NOW)


def _edit_without_compiling(root: Path) -> None:
    path = root / CATALOGUE
    path.write_text(path.read_text().replace("Su resultado", "El resultado"))


def _remove_compiled(root: Path) -> None:
    (root / CATALOGUE).with_suffix(".mo").unlink()


def _remove_catalogue(root: Path) -> None:
    (root / CATALOGUE).unlink()


@pytest.mark.parametrize(
    ("spoil", "problem"),
    [
        (_change_page, 'Not in the catalogue: "Your new result" (templates/education/result.html)'),
        (_change_page, 'Obsolete, no page says it any more: "Your result"'),
        (_lose_a_translation, 'Not translated: "Your result"'),
        (_lose_a_plural_form, 'Not translated: "%(n)d day"'),
        (_mark_fuzzy, 'Fuzzy: "Your result"'),
        (_misspell_a_placeholder, "Does not fit its original"),
        (_edit_without_compiling, "Stale: django.mo does not say what django.po says."),
        (_remove_compiled, "Not compiled: django.mo does not exist."),
        (_remove_catalogue, "No catalogue:"),
    ],
)
def test_check_names_what_is_wrong(
    project: Path, capsys: pytest.CaptureFixture[str], spoil: Callable[[Path], None], problem: str
) -> None:
    update_catalogue(project, NOW)
    _translate_all(project)
    update_catalogue(project, NOW)
    spoil(project)
    with pytest.raises(CommandError, match=r"manage\.py translations"):
        call_command("translations", check=True)
    assert problem in capsys.readouterr().out


def test_check_changes_nothing_and_update_says_what_is_left(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(CommandError):
        call_command("translations", check=True)
    assert not (project / CATALOGUE).exists()
    call_command("translations")
    assert "6 messages, 6 to translate" in capsys.readouterr().out


def test_a_tag_inside_a_translation_block_is_refused_with_the_file_named() -> None:
    page = "{% blocktranslate %}a{% if b %}c{% endif %}{% endblocktranslate %}"
    with pytest.raises(SyntaxError, match=r"page\.html"):
        template_messages(page, "page.html")


def test_the_spanish_of_this_release_is_complete() -> None:
    """Promise W9: 0 missing, 0 fuzzy, in step with the texts, compiled."""
    assert catalogue_problems(Path(project_settings.BASE_DIR)) == []
