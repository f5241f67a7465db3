"""Writing a module: nothing typed is lost, and nobody publishes over somebody else's words."""

from copy import deepcopy
from typing import Any

import pytest

from education.drafting import (
    ChangedMeanwhile,
    NotReady,
    StillRequired,
    archive,
    begin_draft,
    is_archived,
    latest,
    lay_aside,
    open_draft,
    publish_draft,
    readiness,
    review,
    save,
    what_changed,
)
from education.edition_record import record_of
from education.models import DraftSave, Edition, ModuleDraft
from education.pasted import clean
from education.publish import publish
from education.rules.module_changes import Change
from education.rules.module_text import read_module, read_record
from patients.clock import now
from tests.education.every_kind import EVERY_KIND
from tests.factories import STARTER, a_member, a_programme, an_assignment, an_edition

pytestmark = pytest.mark.django_db


@pytest.fixture
def edition() -> Edition:
    a_programme()
    return an_edition(EVERY_KIND)


def begun(edition: Edition) -> tuple[ModuleDraft, dict[str, Any], int]:
    """The draft of the module's next edition, a copy of what it says, and who writes it."""
    writer = a_member("dietitian").pk
    draft = begin_draft(edition.module.code, at=now(), by_id=writer)
    return draft, deepcopy(latest(draft).content), writer


@pytest.mark.parametrize("text", [EVERY_KIND, *(f.read_text() for f in STARTER.glob("*.toml"))])
def test_an_edition_comes_back_as_it_was_written(text: str) -> None:
    """Published, read back and published again: the same module, and nothing changed."""
    written = read_module(text)
    record = record_of(publish(written, at=now()))
    again = read_record(record)
    assert [q.every_version for q in again.questions] == [
        q.every_version for q in read_record(record_of(publish(again, at=now()))).questions
    ]
    assert (again.title, again.sections) == (written.title, written.sections)
    assert [q.key for q in again.questions] == [q.key for q in written.questions]


def test_a_draft_is_published_by_the_same_engine_as_a_file(edition: Edition) -> None:
    draft, content, writer = begun(edition)
    content["section"][0]["heading"]["en"] = "How to sip"
    save(draft, content, seen=1, at=now(), by_id=writer)
    assert begin_draft("every-kind", at=now(), by_id=writer) == draft, "one at a time"
    new = publish_draft(draft, seen=2, earlier_clearances_count=False, at=now(), by_id=writer)
    assert (new.number, new.earlier_clearances_count, new.by_id) == (2, False, writer)
    assert new.sections.get().heading["en"] == "How to sip"
    assert edition.sections.get().heading["en"] == "How to drink"
    assert open_draft("every-kind") is None
    with pytest.raises(NotReady):
        save(draft, content, seen=2, at=now(), by_id=writer)


def test_what_somebody_else_saved_is_not_written_over(edition: Edition) -> None:
    draft, content, writer = begun(edition)
    mine, theirs = deepcopy(content), deepcopy(content)
    theirs["pass_mark"], mine["pass_mark"] = 90, 70
    save(draft, theirs, seen=1, at=now(), by_id=writer)
    with pytest.raises(ChangedMeanwhile) as caught:
        save(draft, mine, seen=1, at=now(), by_id=writer)
    assert caught.value.latest.content["pass_mark"] == 90
    with pytest.raises(ChangedMeanwhile):
        publish_draft(draft, seen=1, earlier_clearances_count=True, at=now(), by_id=writer)
    assert DraftSave.objects.count() == 2


def test_unfinished_work_is_kept_and_not_published(edition: Edition) -> None:
    draft, content, writer = begun(edition)
    content["question"][0]["option"][0]["right"] = False
    content["question"][0]["stem"]["es"] = ""
    saved = save(draft, content, seen=1, at=now(), by_id=writer)
    ready = readiness(saved)
    assert not ready.may_publish
    assert [(p.field, str(p)) for p in ready.problems] == [
        ("stem-es", 'Question "one": "stem" in "es" is empty or no text.')
    ]
    with pytest.raises(NotReady):
        publish_draft(draft, seen=2, earlier_clearances_count=True, at=now(), by_id=writer)


def test_a_module_may_be_published_in_english_while_the_spanish_is_written(
    edition: Edition,
) -> None:
    draft, content, writer = begun(edition)
    content["title"]["es"] = ""
    content["question"][0]["stem"]["es"] = ""
    save(draft, content, seen=1, at=now(), by_id=writer)
    new = publish_draft(draft, seen=2, earlier_clearances_count=True, at=now(), by_id=writer)
    assert new.languages == ["en"]


def test_a_second_person_reads_what_is_published_where_the_programme_wants_it(
    edition: Edition,
) -> None:
    a_programme(teaching_needs_review=True)
    draft, content, writer = begun(edition)
    other = a_member("clinician").pk
    content["pass_mark"] = 75
    saved = save(draft, content, seen=1, at=now(), by_id=writer)
    with pytest.raises(NotReady):
        publish_draft(draft, seen=2, earlier_clearances_count=True, at=now(), by_id=writer)
    with pytest.raises(NotReady):
        review(saved, agrees=True, note="", at=now(), by_id=writer)
    review(saved, agrees=True, note="", at=now(), by_id=other)
    assert readiness(saved).may_publish
    content["pass_mark"] = 76
    later = save(draft, content, seen=2, at=now(), by_id=writer)
    assert not readiness(later).may_publish, "what was read is not what it says now"
    review(later, agrees=False, note="Too low.", at=now(), by_id=other)
    assert not readiness(later).may_publish
    review(later, agrees=True, note="", at=now(), by_id=other)
    publish_draft(draft, seen=3, earlier_clearances_count=True, at=now(), by_id=writer)


CHANGES: list[tuple[str, Any, list[Change]]] = [
    ("pass_mark", 60, [Change.PASS_MARK]),
    ("title", {"en": "Every sort", "es": "Todas"}, [Change.TITLE]),
    ("section.0.body", {"en": "Sip.", "es": "Beba."}, [Change.SECTION_REWORDED]),
    ("question.0.safety_critical", False, [Change.SAFETY_MARK]),
    ("question.0.option.0.right", False, [Change.RIGHT_ANSWER]),
    ("question.0.option.0.text", {"en": "By sips", "es": "x"}, [Change.QUESTION_REWORDED]),
    ("question.0.version", [], [Change.VERSIONS]),
    ("question.3.answer", "60", [Change.RIGHT_ANSWER]),
    ("question.4.item.0.place", 9, [Change.RIGHT_ANSWER]),
    ("question.5.version.0.stem", {"en": "Pairs.", "es": "x"}, [Change.QUESTION_REWORDED]),
    ("question.5.key", "other", [Change.QUESTION_REMOVED, Change.QUESTION_ADDED]),
    ("question.5.explanation", {"en": "So.", "es": "Así."}, [Change.QUESTION_REWORDED]),
]


@pytest.mark.parametrize("where, value, told", CHANGES, ids=[row[0] for row in CHANGES])
def test_what_changed_since_the_last_edition(
    edition: Edition, where: str, value: Any, told: list[Change]
) -> None:
    content: Any = record_of(edition)
    assert what_changed(content, edition) == ()
    *way, last = where.split(".")
    place: Any = content
    for step in way:
        place = place[int(step) if step.isdecimal() else step]
    place[last] = value
    assert [one.change for one in what_changed(content, edition)] == told


def test_the_archive_gives_everything_back_and_takes_nothing_that_is_required() -> None:
    module = an_assignment(module=an_edition(EVERY_KIND).module).module
    by_id = a_member("administrator").pk
    with pytest.raises(StillRequired):
        archive(module, archived=True, at=now(), by_id=by_id)
    other = an_edition(EVERY_KIND.replace('code = "every-kind"', 'code = "other"')).module
    archive(other, archived=True, at=now(), by_id=by_id)
    assert is_archived(other)
    archive(other, archived=False, at=now(), by_id=by_id)
    assert not is_archived(other)
    assert other.editions.count() == 1


def test_a_draft_laid_aside_is_kept(edition: Edition) -> None:
    draft, _content, writer = begun(edition)
    lay_aside(draft, at=now(), by_id=writer)
    assert open_draft("every-kind") is None
    assert draft.saves.count() == 1
    assert begin_draft("every-kind", at=now(), by_id=writer) != draft


PASTED = [
    ("Small sips.\r\nThen wait.", "Small sips.\nThen wait.", "line ends of another system"),
    ("a\u00a0cup\u200b of\u00ad tea", "a cup of tea", "blanks and signs that nobody sees"),
    ("•\tWater\n·\tBroth", "- Water\n- Broth", "a word processor's bullets"),
    ("1)\tSit\n2)\tSip", "1. Sit\n2. Sip", "its numbers"),
    ("<p class=MsoNormal>Sip<o:p></o:p></p><p>Wait</p>", "Sip\n\nWait", "its markup"),
    ("<ul><li>Water<li>Broth</ul>", "- Water\n- Broth", "a list as HTML"),
    ("<script>alert(1)</script>Sip", "Sip", "a script"),
    ("<style>p{}</style><b>Sip</b> &amp; wait", "Sip & wait", "styles and entities"),
    ("less than < 64, **bold**", "less than < 64, **bold**", "Markdown and signs stay"),
    ("o elija otro", "o elija otro", "a Spanish word that looks like a bullet"),
    ("a\x00b\x07c", "abc", "controls"),
]


@pytest.mark.parametrize("typed, kept, why", PASTED, ids=[row[2] for row in PASTED])
def test_what_is_pasted_arrives_clean(typed: str, kept: str, why: str) -> None:
    assert clean(typed) == kept
