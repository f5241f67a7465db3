"""`manage.py readability`: how hard the patients' texts are to read, against promise W9."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from education.models import Edition, Module
from education.page_text import message_blocks, template_blocks
from education.readability import (
    Passage,
    edition_passages,
    module_passages,
    over_goal,
    read,
    together,
)
from education.rules.grades import inflesz
from education.rules.module_text import languages_complete, read_module
from education.rules.reading import GRADE_GOAL, MAX_SENTENCE_WORDS, Readings
from education.stage_tables import starter_stages
from education.translations import (
    CATALOGUE,
    catalogue_path,
    python_files,
    python_messages,
    read_catalogue,
    template_files,
)
from patients import programme

STARTER_FOLDER = Path(__file__).resolve().parents[2] / "starter"


class Command(BaseCommand):
    """Print a line for each text, its long sentences under it, and fail if any is over the goal."""

    help = (
        "Measure every text that patients read: modules, pages, emails, the Spanish catalogue. "
        f"Fails on a sentence over {MAX_SENTENCE_WORDS} words, and on English over the goal."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        """Take the goal, and whether to read what was published."""
        parser.add_argument(
            "--published",
            action="store_true",
            help="measure the latest edition of each module instead, by the programme's own goal",
        )
        parser.add_argument(
            "--goal", type=float, help=f"the grade to keep (the programme's, or {GRADE_GOAL})"
        )
        parser.add_argument(
            "--hard-words", action="store_true", help="list the hard words of each text"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Measure group by group."""
        goal = GRADE_GOAL
        if options["published"]:
            goal = programme.current().reading_grade
        goal = goal if options["goal"] is None else options["goal"]
        self.goal, self.hard_words = goal, options["hard_words"]
        groups = published_groups() if options["published"] else passage_groups(settings.BASE_DIR)
        over = [name for group, passages in groups for name in self._show_group(group, passages)]
        if over:
            raise CommandError(f"{len(over)} texts are over the goal: {', '.join(over)}.")
        self.stdout.write(f"Every text is within the goal, grade {goal:g}.")

    def _show_group(self, name: str, passages: list[Passage]) -> list[str]:
        """Print a group, and return the names of its texts that are over the goal."""
        self.stdout.write(self.style.MIGRATE_HEADING(name))
        found = [(passage.name, read(passage, goal=self.goal)) for passage in passages]
        over = [name for name, reading in found if self._show(name, reading)]
        for language in sorted({passage.language for passage in passages}):
            whole = together(f"{name}, as a whole", passages, language)
            reading = read(whole, goal=self.goal)
            if reading.grade is not None or reading.perspicuity is not None:
                # Its long sentences and hard words are listed with the text that holds them.
                over += [whole.name] if self._show(whole.name, reading, whole=True) else []
        return over

    def _show(self, name: str, reading: Readings, *, whole: bool = False) -> bool:
        over = over_goal(reading) and not (whole and not reading.hard)
        self.stdout.write(
            f"  {_score(reading):24}  {reading.words:5} words  {reading.language}  {name}"
            f"{'  OVER' if over else ''}"
        )
        if not whole:
            for sentence in reading.long_sentences:
                self.stdout.write(f"        {sentence.words} words: {sentence.text}")
        if self.hard_words and not whole and reading.hard_words:
            self.stdout.write(f"        hard: {', '.join(word for word, _ in reading.hard_words)}")
        return over


def _score(reading: Readings) -> str:
    """Grade, ease and SMOG of English; Fernández Huerta and INFLESZ of Spanish; - if too short."""
    if reading.grade is not None:
        smog = "" if reading.smog is None else f" smog {reading.smog:.1f}"
        return f"{reading.grade:4.1f} ease {reading.ease:.0f}{smog}"
    if reading.perspicuity is not None:
        return f"  -  FH {reading.huerta:.0f} {inflesz(reading.perspicuity)}"
    return "  - "


def published_groups() -> Iterator[tuple[str, list[Passage]]]:
    """The texts of the latest edition of every module, as patients read them now."""
    for module in Module.objects.filter(editions__isnull=False).distinct().order_by("code"):
        edition = Edition.objects.filter(module=module).order_by("-number")[0]
        passages = [
            passage
            for language in edition.languages
            for passage in edition_passages(edition, language)
        ]
        yield f"Module {module.code}, edition {edition.number}", passages


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
