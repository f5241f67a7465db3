"""How what was published reads: the command, by the programme's own goal."""

import pytest
from django.core.management import CommandError, call_command

from education.readability import edition_passages, module_passages
from education.rules.module_text import read_module
from patients import programme
from patients.clock import now
from tests.education.short_module import a_short_edition
from tests.factories import BEFORE, PLAIN, a_member, a_programme, an_edition

pytestmark = pytest.mark.django_db


def test_the_command_reads_what_was_published_by_the_programmes_own_goal(
    capsys: pytest.CaptureFixture[str],
) -> None:
    a_programme()
    an_edition()
    a_short_edition(at=now())
    call_command("readability", "--published", "--hard-words")
    printed = capsys.readouterr().out
    assert "Module before-operation, edition 1" in printed
    assert "FH " in printed
    assert "hard: " in printed
    programme.change(at=now(), by_id=a_member("administrator").pk, reading_grade=1)
    with pytest.raises(CommandError, match="Module before-operation, edition 1, as a whole"):
        call_command("readability", "--published")


def test_an_edition_reads_as_its_file_did() -> None:
    edition = an_edition()
    module = read_module((PLAIN / BEFORE).read_text())
    for language in ("en", "es"):
        written = [p.blocks for p in module_passages(module, language)]
        assert [p.blocks for p in edition_passages(edition, language)] == written
