"""Contacts and teach-backs, in the words of the clearance record's document."""

from collections.abc import Iterator

from clinic.day_words import day
from clinic.evidence.pdf_blocks import Block, at_zone, facts, heading, table
from clinic.evidence.record import ClearanceRecord, Contacted, PointSaid, TaughtBack
from clinic.teach_back_words import OUTCOME, understood_words
from education.rules.teach_back import TeachBackOutcome
from patients.models import Means, Outcome


def teach_backs(record: ClearanceRecord) -> Iterator[Block]:
    """Yield what was asked and said, each conversation by itself; nothing where there was none."""
    if not record.teach_backs:
        return
    yield heading("Teach-backs")
    for held in record.teach_backs:
        yield heading(f"{held.title}, edition {held.edition}", 3)
        yield facts(_ended(held, record))
        yield table(
            ("Point", "Asked", "Said", "Understood"),
            [_point(one) for one in held.points],
            (5, 5, 5, 3),
        )


def _ended(held: TaughtBack, record: ClearanceRecord) -> list[tuple[str, str]]:
    outcome = OUTCOME[TeachBackOutcome(held.outcome)]
    rows = [
        ("When", f"{at_zone(held.made.at, record.zone)}, by {held.made.by}"),
        ("How", Means(held.means).label.lower()),
        ("Outcome", outcome + (", and cleared on it" if held.clearance_id else "")),
    ]
    rows += [("Next contact", day(held.next_on))] if held.next_on else []
    rows += [("Quiz", "may be taken once more")] if held.one_more_attempt else []
    rows += [("Note", held.made.reason)] if held.made.reason else []
    if held.never:
        when = at_zone(held.never.at, record.zone)
        rows.append(("Never took place", f"{when}, {held.never.by}: {held.never.reason}"))
    return rows


def _point(point: PointSaid) -> tuple[str, ...]:
    marks = [word for word, holds in _marks(point) if holds]
    about = f"{point.stem} ({', '.join(marks)})" if marks else point.stem
    said = point.said or "nothing written down"
    return about, point.asked, said, understood_words(point.understood)


def _marks(point: PointSaid) -> tuple[tuple[str, bool], ...]:
    return ("safety-critical", point.safety_critical), ("missed in the quiz", point.missed)


def contacts(record: ClearanceRecord) -> Iterator[Block]:
    """Yield the attempts to reach the patient, those that were corrected too."""
    if not record.contacts:
        return
    yield heading("Contacts")
    rows = [_contact(one, record) for one in record.contacts]
    yield table(("When", "How", "Note", "By"), rows, (5, 4, 8, 4))


def _contact(one: Contacted, record: ClearanceRecord) -> tuple[str, ...]:
    how = f"{Means(one.means).label}: {Outcome(one.outcome).label.lower()}"
    notes = [one.made.reason] if one.made.reason else []
    notes += [f"next contact {day(one.next_on)}"] if one.next_on else []
    if one.made_at != one.made.at:
        notes.append(
            f"written down {at_zone(one.made.at, record.zone)}, for one that was corrected"
        )
    if one.corrected:
        when = at_zone(one.corrected.at, record.zone)
        notes.append(f"corrected {when} by {one.corrected.by}: {one.corrected.reason}")
    return at_zone(one.made_at, record.zone), how, ". ".join(notes), one.made.by
