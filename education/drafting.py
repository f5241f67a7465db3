"""Write the next edition of a module: begin, save, have it reviewed, publish, lay aside, archive.

A draft is a record like that of a module's file, and is read and refused by the same code. Each
save is a row, so that nothing typed is lost and any state can be taken back.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from education.edition_record import record_of
from education.models import (
    DraftEnd,
    DraftReview,
    DraftSave,
    Edition,
    Module,
    ModuleArchiving,
    ModuleDraft,
    Requirement,
)
from education.publish import publish
from education.rules.module_changes import Changed, changes
from education.rules.module_parts import ModuleText
from education.rules.module_text import ModuleTextError, read_record
from education.rules.toml_fields import FieldProblem
from patients import programme
from patients.rules.languages import SOURCE_LANGUAGE, codes

Record = dict[str, Any]


class ChangedMeanwhile(Exception):
    """Somebody saved the draft since the page was shown; `latest` is what it says now."""

    def __init__(self, latest: DraftSave) -> None:
        super().__init__("the draft was saved meanwhile")
        self.latest = latest


class NotReady(Exception):
    """The draft has problems, has ended, or waits for a second person."""


class StillRequired(Exception):
    """A procedure requires the module."""


@dataclass(frozen=True)
class Readiness:
    """Whether a draft may be published, and what is in the way."""

    text: ModuleText | None
    problems: tuple[FieldProblem, ...]
    needs_review: bool
    review: DraftReview | None  # the latest of the draft as it is

    @property
    def reviewed(self) -> bool:
        return bool(self.review and self.review.agrees)

    @property
    def may_publish(self) -> bool:
        return self.text is not None and (self.reviewed or not self.needs_review)


def open_draft(code: str) -> ModuleDraft | None:
    """Return the draft of a module that is being written, or None."""
    return ModuleDraft.objects.filter(code=code, end__isnull=True).order_by("-pk").first()


def latest(draft: ModuleDraft) -> DraftSave:
    """Return what a draft says now."""
    return draft.saves.select_related("by").order_by("-number")[0]


def latest_edition(code: str) -> Edition | None:
    """Return the newest edition of a module, or None."""
    return Edition.objects.filter(module__code=code).order_by("-number").first()


def begin_draft(code: str, *, at: datetime, by_id: int, title: str = "") -> ModuleDraft:
    """Return the module's open draft, or begin one with what its newest edition says.

    A new module begins with its English `title` and nothing else.
    """
    with transaction.atomic():
        # Two who begin at once wait for each other here.
        Module.objects.select_for_update().filter(code=code).first()
        found = open_draft(code)
        if found:
            return found
        edition = latest_edition(code)
        content: Record = (
            record_of(edition)
            if edition
            else {
                "code": code,
                "pass_mark": 80,
                "title": {SOURCE_LANGUAGE: title},
                "section": [],
                "question": [],
            }
        )
        draft = ModuleDraft.objects.create(code=code, recorded_at=at, by_id=by_id)
        DraftSave.objects.create(
            draft=draft, number=1, content=content, recorded_at=at, by_id=by_id
        )
    return draft


def save(draft: ModuleDraft, content: Record, *, seen: int, at: datetime, by_id: int) -> DraftSave:
    """Keep what a draft says from now on. `seen` is the number of the save that was changed.

    Raises ChangedMeanwhile when that is not the latest one, NotReady when the draft has ended.
    """
    with transaction.atomic():
        now = _hold(draft)
        if now.number != seen:
            raise ChangedMeanwhile(now)
        if now.content == content:
            return now
        return DraftSave.objects.create(
            draft=draft, number=seen + 1, content=content, recorded_at=at, by_id=by_id
        )


def readiness(saved: DraftSave) -> Readiness:
    """Return whether a draft may be published as it is."""
    problems: tuple[FieldProblem, ...] = ()
    text = None
    try:
        text = read_record(in_its_languages(saved.content))
    except ModuleTextError as error:
        problems = error.fields
    return Readiness(
        text,
        problems,
        programme.current().teaching_needs_review,
        saved.reviews.select_related("by").order_by("pk").last(),
    )


def review(saved: DraftSave, *, agrees: bool, note: str, at: datetime, by_id: int) -> DraftReview:
    """Keep what a second person says of a draft as it is.

    Raises ChangedMeanwhile when it was saved since, NotReady for whoever wrote a part of it.
    """
    with transaction.atomic():
        now = _hold(saved.draft)
        if now.pk != saved.pk:
            raise ChangedMeanwhile(now)
        if by_id in writers(saved.draft):
            raise NotReady
        return DraftReview.objects.create(
            save_reviewed=saved, agrees=agrees, note=note, recorded_at=at, by_id=by_id
        )


def writers(draft: ModuleDraft) -> set[int]:
    """Return the ids of those who wrote a draft; who only began it from an edition did not."""
    return set(draft.saves.filter(number__gt=1).values_list("by", flat=True)) or {draft.by_id}


def publish_draft(
    draft: ModuleDraft,
    *,
    seen: int,
    earlier_clearances_count: bool,
    at: datetime,
    by_id: int,
) -> Edition:
    """Publish a draft as the next edition: from here on it never changes.

    Raises ChangedMeanwhile when it is not the save that was shown, NotReady when it has problems or
    waits for a second person.
    """
    with transaction.atomic():
        now = _hold(draft)
        if now.number != seen:
            raise ChangedMeanwhile(now)
        ready = readiness(now)
        if ready.text is None or not ready.may_publish:
            raise NotReady
        edition = publish(
            ready.text, at=at, by_id=by_id, earlier_clearances_count=earlier_clearances_count
        )
        DraftEnd.objects.create(draft=draft, edition=edition, recorded_at=at, by_id=by_id)
    return edition


def as_if_published(text: ModuleText, look: Callable[[Edition], str], *, at: datetime) -> str:
    """Return what `look` makes of the edition that a text would be; nothing of it stays.

    It is published for good and taken back, so that a preview cannot show anything else.
    """
    with transaction.atomic():
        seen = look(publish(text, at=at))
        transaction.set_rollback(True)
    return seen


def lay_aside(draft: ModuleDraft, *, at: datetime, by_id: int) -> None:
    """End a draft without publishing it; what it said stays on record."""
    with transaction.atomic():
        _hold(draft)
        DraftEnd.objects.create(draft=draft, recorded_at=at, by_id=by_id)


def what_changed(content: Record, edition: Edition | None) -> tuple[Changed, ...]:
    """Return what is different from an edition; nothing is when there is none."""
    if edition is None:
        return ()
    return changes(record_of(edition), in_its_languages(content), language=SOURCE_LANGUAGE)


def in_its_languages(content: Record) -> Record:
    """Return a draft in the languages of its title alone.

    So a module is published in one language while the other one is still being written.
    """
    wanted = {code for code in codes() if content["title"].get(code, "").strip()}
    pruned: Record = _pruned(content, wanted | {SOURCE_LANGUAGE})
    return pruned


def _pruned(value: Any, wanted: set[str]) -> Any:
    if isinstance(value, list):
        return [_pruned(one, wanted) for one in value]
    if not isinstance(value, dict):
        return value
    if value and set(value) <= set(codes()):
        return {code: text for code, text in value.items() if code in wanted}
    return {name: _pruned(one, wanted) for name, one in value.items()}


# --- the archive ---------------------------------------------------------------------------------


def is_archived(module: Module) -> bool:
    """Return whether a module is in the archive."""
    newest = ModuleArchiving.objects.filter(module=module).order_by("pk").last()
    return bool(newest and newest.archived)


def archived_modules() -> set[int]:
    """Return the ids of the modules in the archive."""
    newest = {row.module_id: row.archived for row in ModuleArchiving.objects.order_by("pk")}
    return {pk for pk, archived in newest.items() if archived}


def in_work() -> list[tuple[ModuleDraft, str]]:
    """Return the drafts that are being written, each with its English title or its code."""
    drafts = ModuleDraft.objects.filter(end__isnull=True).order_by("code")
    return [(one, latest(one).content["title"].get(SOURCE_LANGUAGE) or one.code) for one in drafts]


def archive(module: Module, *, archived: bool, at: datetime, by_id: int) -> None:
    """Put a module into the archive, or take it out again; nothing of it is deleted.

    Raises StillRequired when a procedure requires it: patients could not be cleared of it any more.
    """
    with transaction.atomic():
        Module.objects.select_for_update().get(pk=module.pk)
        if is_archived(module) == archived:
            return
        if archived and required_by(module):
            raise StillRequired
        ModuleArchiving.objects.create(
            module=module, archived=archived, recorded_at=at, by_id=by_id
        )


def required_by(module: Module) -> list[str]:
    """Return the names of the procedures that require a module now."""
    newest: dict[int, Requirement] = {}
    for row in module.requirements.select_related("procedure").order_by("recorded_at", "pk"):
        newest[row.procedure_id] = row
    return sorted(row.procedure.name for row in newest.values() if row.required)


def _hold(draft: ModuleDraft) -> DraftSave:
    """Lock a draft and return what it says now. Raises NotReady when it has ended."""
    ModuleDraft.objects.select_for_update().get(pk=draft.pk)
    if DraftEnd.objects.filter(draft=draft).exists():
        raise NotReady
    return latest(draft)
