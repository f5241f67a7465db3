"""What the pages share where a module is written: the draft, its state, and what is in the way."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.http import Http404, HttpRequest

from clinic.reading_words import ReadText, in_words
from education.drafting import Readiness, latest, latest_edition, open_draft, readiness
from education.models import DraftSave, Edition, ModuleDraft
from education.readability import Passage, read
from education.rules.module_changes import Change
from education.rules.reading import markdown_blocks
from education.rules.toml_fields import FieldProblem
from patients import programme
from patients.rules.languages import SOURCE_LANGUAGE, codes

Record = dict[str, Any]

CHANGE: dict[Change, str] = {
    Change.TITLE: "Title",
    Change.PASS_MARK: "Pass mark",
    Change.LANGUAGES: "Languages",
    Change.SECTION_ADDED: "New section",
    Change.SECTION_REMOVED: "Section taken out",
    Change.SECTION_REWORDED: "Section reworded",
    Change.SECTIONS_REORDERED: "Sections in another order",
    Change.PICTURES: "Pictures changed",
    Change.VIDEO: "Video, captions or transcript changed",
    Change.QUESTION_ADDED: "New question",
    Change.QUESTION_REMOVED: "Question taken out",
    Change.QUESTION_REWORDED: "Question reworded",
    Change.RIGHT_ANSWER: "Another answer is right",
    Change.SAFETY_MARK: "Safety-critical mark",
    Change.VERSIONS: "Number of versions",
    Change.QUESTIONS_REORDERED: "Questions in another order",
}


@dataclass(frozen=True)
class DraftPage:
    """A draft as it was when the request came."""

    draft: ModuleDraft
    saved: DraftSave

    @property
    def content(self) -> Record:
        content: Record = self.saved.content
        return content

    @property
    def title(self) -> str:
        return str(self.content["title"].get("en") or self.draft.code)

    @property
    def other_titles(self) -> list[tuple[str, str]]:
        """The titles that are written in other languages, with the codes of those."""
        titles = self.content["title"]
        return [(code, titles[code]) for code in codes()[1:] if titles.get(code, "").strip()]

    @property
    def languages(self) -> list[str]:
        """The languages that the draft is written in, by its title; English always is one."""
        titles = self.content["title"]
        return [c for c in codes() if c == SOURCE_LANGUAGE or titles.get(c, "").strip()]

    @cached_property
    def ready(self) -> Readiness:
        return readiness(self.saved)

    @cached_property
    def edition(self) -> Edition | None:
        """The newest edition, which this draft is to follow."""
        return latest_edition(self.draft.code)

    def problems_of(self, what: str, key: str = "") -> list[FieldProblem]:
        """Return what is wrong with a part ("Section" or "Question"), or with the module."""
        named = f'{what} "{key}"' if key else what
        return [
            problem
            for problem in self.ready.problems
            if problem.where == named or problem.where.startswith(f"{named},")
        ]


def how_it_reads(*texts: Record) -> list[tuple[str, ReadText]]:
    """Return how texts of a draft read together, for each language that they are written in."""
    goal = programme.current().reading_grade
    found = []
    for code in codes():
        blocks = tuple(b for one in texts for b in markdown_blocks(one.get(code, "")))
        if blocks:
            found.append((code, in_words(read(Passage("", code, blocks), goal=goal))))
    return found


def draft_page(code: str) -> DraftPage:
    """Return the open draft of a module; raises Http404 if there is none."""
    draft = open_draft(code)
    if draft is None:
        raise Http404
    return DraftPage(draft, latest(draft))


def seen(request: HttpRequest) -> int:
    """Return the number of the save that the form was made from; 0 if it says none."""
    sent = request.POST.get("seen", "")
    return int(sent) if sent.isdecimal() and len(sent) < 10 else 0
