"""`manage.py readability`: how hard the patients' texts are to read, against promise W9."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from education.readability import (
    MAX_GRADE,
    MAX_SENTENCE_WORDS,
    MISSING_TEXTSTAT,
    Passage,
    Reading,
    can_grade,
    message_blocks,
    module_passages,
    read,
    template_blocks,
    together,
)
from education.rules.module_text import languages_complete, read_module
from education.stage_tables import starter_stages
from education.translations import (
    CATALOGUE,
    catalogue_path,
    python_files,
    python_messages,
    read_catalogue,
    template_files,
)

STARTER_FOLDER = Path(__file__).resolve().parents[2] / "starter"


class Command(BaseCommand):
    """Print a line for each text, its long sentences under it, and fail if any is over the goal."""

    help = (
        f"Grade every text that patients read (goal: Flesch-Kincaid grade {MAX_GRADE:g} or lower) "
        f"and list the sentences of more than {MAX_SENTENCE_WORDS} words."
    )
    requires_system_checks: list[str] = []

    def handle(self, *args: Any, **options: Any) -> None:
        """Measure group by group."""
        if not can_grade():
            raise CommandError(MISSING_TEXTSTAT)
        over = [
            reading.name
            for name, passages in passage_groups(settings.BASE_DIR)
            for reading in self._show_group(name, passages)
            if reading.over_goal
        ]
        if over:
            raise CommandError(f"{len(over)} texts are over the goal: {', '.join(over)}.")
        self.stdout.write("Every text is within the goal.")

    def _show_group(self, name: str, passages: list[Passage]) -> list[Reading]:
        self.stdout.write(self.style.MIGRATE_HEADING(name))
        whole = read(together(f"{name}, as a whole", passages))
        # Its long sentences are already listed with the text that holds them.
        whole = Reading(whole.name, whole.language, whole.words, whole.grade, ())
        readings = [read(passage) for passage in passages]
        if whole.grade is not None:
            readings.append(whole)
        for reading in readings:
            self._show(reading)
        return readings

    def _show(self, reading: Reading) -> None:
        grade = "  - " if reading.grade is None else f"{reading.grade:4.1f}"
        mark = "  OVER" if reading.over_goal else ""
        self.stdout.write(
            f"  {grade}  {reading.words:5} words  {reading.language}  {reading.name}{mark}"
        )
        for sentence in reading.long_sentences:
            self.stdout.write(f"        over {MAX_SENTENCE_WORDS} words: {sentence}")


def passage_groups(root: Path) -> Iterator[tuple[str, list[Passage]]]:
    """Every text that patients read in the project at `root`, in groups that have a name.

    The groups: each starter module, the starter stages of the eating plan, the pages and emails,
    the texts marked in Python, and the Spanish of the catalogue.
    """
    for path in sorted(STARTER_FOLDER.glob("*.toml")):
        module = read_module(path.read_text())
        passages = [
            passage
            for language in languages_complete(module)
            for passage in module_passages(module, language)
        ]
        yield f"Module {module.code}", passages
    yield "Eating stages", list(_stage_passages())
    yield "Pages and emails", list(_template_passages(root))
    yield "Texts in Python", list(_python_passages(root))
    if catalogue_path(root).exists():
        yield "Spanish catalogue", [_catalogue_passage(root)]


def _stage_passages() -> Iterator[Passage]:
    for stage in starter_stages():
        for language, name in stage.name.items():
            lines = [*stage.allowed[language], *stage.avoided[language], *stage.to_do[language]]
            meal = [stage.meal[language]] if stage.meals else []
            yield Passage(f"stage {stage.key}", language, (name, *lines, *meal))


def _template_passages(root: Path) -> Iterator[Passage]:
    for path in template_files(root):
        blocks = template_blocks(path.read_text())
        if blocks:
            yield Passage(path.relative_to(root).as_posix(), "en", blocks)


def _python_passages(root: Path) -> Iterator[Passage]:
    for path in python_files(root):
        blocks = message_blocks(message.id for message in python_messages(path.read_text()))
        if blocks:
            yield Passage(path.relative_to(root).as_posix(), "en", blocks)


def _catalogue_passage(root: Path) -> Passage:
    catalogue = read_catalogue(catalogue_path(root))
    strings = (message.string or "" for message in catalogue if message.id)
    return Passage(CATALOGUE.as_posix(), "es", message_blocks(strings))
