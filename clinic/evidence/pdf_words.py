"""The words of the clearance record's document, block by block, in the order of reading."""

from collections.abc import Iterator
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from clinic import answer_words
from clinic.answer_words import WORDS
from clinic.day_words import day
from clinic.evidence import pdf_conversations
from clinic.evidence.pdf_blocks import Block, at_zone, facts, heading, strong, table, text
from clinic.evidence.record import (
    Accepted,
    ClearanceRecord,
    Cleared,
    Confirmed,
    Invited,
    PlannedOperation,
    Quiz,
    Required,
)
from clinic.way_words import ENDED, GIVEN, came
from clinic.words import BOOKING, EVIDENCE, IDENTITY, LINK_ENDED, NAME_KIND, REASON, STANDING, WHY
from education.models import EndedBecause, IdentityVerdict
from education.rules.confirm import Word
from education.rules.quiz_way import Way
from education.rules.standing import Evidence, Reason, Standing
from patients.models import Booking
from patients.rules.identity import NameKind, Why

HEADER_NAME = 70  # characters that fit into the header; the whole name stands on the first page

CAUTIONS = (
    "Local rules and the decision of the licensed clinicians who treat the patient come first, "
    "also where this record says “cleared” or “confirm”.",
    "“Cleared” says that the patient showed understanding of a module on a day, on the evidence "
    "named here. It says nothing about fitness for the operation.",
)
NOT_SAID = (
    "It does not say whether the patient ate, drank or took medicine as taught.",
    "It holds what was entered in this system. What was said or done elsewhere is not in it.",
    "A quiz that was not decided to be this patient’s is named without what was typed or answered.",
    "Emails and letters are named by their dates, not by their words.",
    "A printed copy does not change. Ask again before you rely on it.",
)
SPELLED_OUT = (
    "Some characters could not be drawn with the fonts of this machine. Each is printed as its "
    "Unicode number, as in [U+738B]."
)


def document(record: ClearanceRecord) -> dict[str, Any]:
    """Return what stands around the blocks: title, header, footer."""
    person, zone = record.person, record.zone
    coming = [one for one in record.operations if one.booking not in ("cancelled", "done")]
    dates = [_or_date(one.or_date) for one in (coming or list(record.operations)[:1])]
    stands = "as it stood at the end of" if record.past else "as it stands on"
    return {
        "title": "Clearance record",
        "programme": record.programme,
        "paper": "us-letter",
        "header": {
            "name": _short(person.full_name),
            "identifiers": f"MRN {person.mrn}   born {day(person.birth_date)}",
            "operation": "; ".join(dates) or "no operation on the schedule",
            "stands": f"{stands} {day(record.on)}",
        },
        "footer": f"Made at {at_zone(record.made_at, zone)}, by {record.made_by}. "
        f"{record.programme}, {record.phone}.",
    }


def blocks(record: ClearanceRecord, *, undrawn: bool) -> list[Block]:
    """Return the body of the document. `undrawn`: some characters are printed as numbers."""
    return [*_body(record, undrawn=undrawn)]


def _body(record: ClearanceRecord, *, undrawn: bool) -> Iterator[Block]:
    if undrawn:
        yield text(SPELLED_OUT)
    if record.past:
        yield text(
            f"This is what was on record at the end of {day(record.on)}. "
            "What came later is not in it."
        )
    yield facts(_person(record))
    for operation in record.operations:
        yield from _operation(operation, record)
    if not record.operations:
        yield text("No operation is on the schedule.")
    yield from _clearances(record)
    yield from _editions(record)
    yield from _quizzes(record)
    yield from pdf_conversations.teach_backs(record)
    yield from pdf_conversations.contacts(record)
    yield heading("Read with care")
    yield {"kind": "list", "items": list(CAUTIONS)}
    yield heading("What this record does not say")
    yield {"kind": "list", "items": list(NOT_SAID)}


def _person(record: ClearanceRecord) -> list[tuple[str, str]]:
    person = record.person
    rows = [
        ("Name", person.full_name),
        *(
            (
                NAME_KIND[NameKind(one.kind)].capitalize(),
                f"{one.given_names} {one.family_names}".strip(),
            )
            for one in person.other_names
        ),
        ("MRN", person.mrn),
        ("Date of birth", day(person.birth_date)),
    ]
    if person.also_mrns:
        rows.append(("Also on record as MRN", ", ".join(person.also_mrns)))
    return rows


# --- an operation --------------------------------------------------------------------------------


def _operation(operation: PlannedOperation, record: ClearanceRecord) -> Iterator[Block]:
    zone = record.zone
    yield heading(f"{operation.procedure}, {_or_date(operation.or_date)}")
    why = answer_words.holds(operation.holds)
    answer = WORDS[Word(operation.word)]
    yield strong(
        f"On {day(record.on)} the answer was: {answer}" + (f". {'. '.join(why)}." if why else ".")
    )
    known = [("Booking", BOOKING[Booking(operation.booking)])]
    known += [("Surgeon", operation.surgeon)] if operation.surgeon else []
    known += [("Facility", operation.facility)] if operation.facility else []
    known += [("Case number", operation.case_number)] if operation.case_number else []
    yield facts(known)
    if operation.required:
        yield heading("What it needs", 3)
        yield table(
            ("Module", "Window", "Standing", "Why"),
            [_needs(one, record) for one in operation.required],
            (4, 4, 3, 6),
        )
    else:
        yield text("No module is required for this operation.")
    yield heading("Dates and bookings", 3)
    yield table(
        ("When", "OR date", "Booking", "Why", "By"),
        [
            (
                at_zone(plan.at, zone),
                day(plan.or_date) if plan.or_date else "no date",
                BOOKING[Booking(plan.booking)],
                plan.reason or "no reason given",
                ", ".join(filter(None, [plan.by, plan.source])),
            )
            for plan in operation.plans
        ],
        (5, 4, 3, 5, 5),
    )
    if operation.confirmations:
        yield heading("Confirmations", 3)
        rows = [_confirmed(one, zone) for one in operation.confirmations]
        yield table(("When", "OR date", "The answer then", "By"), rows, (5, 4, 8, 4))
    for required in operation.required:
        rows = _how(required, record)
        if rows:
            yield heading(f"How it came about: {required.title}", 3)
            yield table(("When", "What", "Details", "By"), rows, (5, 4, 8, 4))


def _needs(required: Required, record: ClearanceRecord) -> tuple[str, ...]:
    standing = STANDING[Standing(required.standing)]
    why = "; ".join(REASON[Reason(one)] for one in required.reasons)
    if required.cleared_on:
        why += f" ({day(required.cleared_on)})"
    return (
        required.title + ("" if required.before_operation else " (due after the operation)"),
        _window(required.opens_on, required.clear_by),
        f"{standing}; no longer required" if required.closed else standing,
        why,
    )


def _how(required: Required, record: ClearanceRecord) -> list[tuple[str, ...]]:
    """Return what happened to one module of an operation, in the order of time."""
    found: list[tuple[datetime, tuple[str, str, str]]] = []
    for window in required.windows:
        words = "closed" if window.closed else _window(window.opens_on, window.clear_by)
        found.append((window.at, ("window", f"{words}, for {_or_date(window.or_date)}", "")))
    for one in required.invitations:
        found.append((one.at, (*_went_out(one, record.zone), one.by)))
        if one.ended_at:
            why = LINK_ENDED[EndedBecause(one.ended_because)]
            found.append((one.ended_at, (ENDED[Way(one.way)], why, "")))
    for begun in required.attempts:
        state = "handed in" if begun.quiz_id else "not handed in"
        found.append((begun.at, ("quiz begun", f"attempt {begun.number} this way, {state}", "")))
    for kind, listed in (("signed off", required.sign_offs), ("waived", required.waivers)):
        found += [row for one in listed for row in _accepted(kind, one, record)]
    found.sort(key=lambda row: row[0])
    return [(at_zone(at, record.zone), *cells) for at, cells in found]


def _went_out(one: Invited, zone: ZoneInfo) -> tuple[str, str]:
    if one.way != Way.LINK:
        return GIVEN[Way(one.way)], ""
    sent = f"email went out {at_zone(one.emailed_at, zone)}" if one.emailed_at else ""
    return "link written", sent or "no email went out"


def _accepted(
    kind: str, one: Accepted, record: ClearanceRecord
) -> Iterator[tuple[datetime, tuple[str, str, str]]]:
    about = next((c for c in record.clearances if c.id == one.clearance_id), None)
    detail = f"the clearance of {day(about.cleared_on)}. " if about else ""
    waits = " A second clinician has to agree." if one.needs_second else ""
    yield one.made.at, (kind, f"{detail}{one.made.reason}{waits}", one.made.by)
    if one.second:
        word = "agreed" if one.second.agrees else "declined"
        said = one.second.said
        yield said.at, (f"second clinician {word}", said.reason, said.by)
    if one.taken_back:
        back = one.taken_back
        yield back.at, (f"{kind}: taken back", back.reason, back.by)


def _confirmed(one: Confirmed, zone: ZoneInfo) -> tuple[str, ...]:
    answer = WORDS[Word(one.word)]
    if one.against_hold:
        answer = f"{answer}; confirmed against it. {one.clinician}: {one.made.reason}"
    return at_zone(one.made.at, zone), day(one.or_date), answer, one.made.by


# --- clearances, quizzes, contacts ---------------------------------------------------------------


def _clearances(record: ClearanceRecord) -> Iterator[Block]:
    yield heading("Clearances")
    if not record.clearances:
        yield text("None.")
        return
    yield table(
        ("Day", "Module, edition", "Evidence", "By", "Holds"),
        [_cleared(one, record) for one in record.clearances],
        (4, 5, 6, 4, 6),
    )


def _cleared(one: Cleared, record: ClearanceRecord) -> tuple[str, ...]:
    evidence = EVIDENCE[Evidence(one.evidence)]
    quiz = next((quiz for quiz in record.quizzes if quiz.id == one.quiz_id), None)
    if quiz:
        how = came(Way(quiz.way), quiz.typed_by, quiz.answered_on, quiz.day)
        evidence += f": {quiz.right} of {quiz.total} right, handed in {day(quiz.day)}, {how}"
    if one.carried_from:
        evidence += f"; carried over from MRN {one.carried_from}"
    if one.made.reason:
        evidence += f". {one.made.reason}"
    holds = "yes"
    if one.revoked:
        when = at_zone(one.revoked.at, record.zone)
        holds = f"revoked {when} by {one.revoked.by}: {one.revoked.reason}"
    by = one.made.by or ("the quiz" if one.quiz_id else "")
    return day(one.cleared_on), f"{one.title}, {one.edition}", evidence, by, holds


def _editions(record: ClearanceRecord) -> Iterator[Block]:
    """Whose word the teaching was: the programme's once a clinician had signed it."""
    if not record.editions:
        return
    yield heading("What was taught")
    yield table(
        ("Module, edition", "Published", "Signed by a clinician"),
        [
            (
                f"{one.title}, {one.number}",
                at_zone(one.at, record.zone),
                f"{at_zone(one.signed.at, record.zone)}, {one.signed.by}"
                if one.signed
                else "nobody has signed it",
            )
            for one in record.editions
        ],
        (6, 5, 6),
    )
    shown = [
        (f"{one.title}, {one.number}: {beside.section}", what, beside.file)
        for one in record.editions
        for beside in one.beside
        for what in [f"{beside.what}: {beside.says}" if beside.says else beside.what]
    ]
    if shown:
        yield table(("Shown beside the words", "What", "File, by its SHA-256"), shown, (5, 5, 8))


def _quizzes(record: ClearanceRecord) -> Iterator[Block]:
    yield heading("Quizzes handed in")
    if not record.quizzes:
        yield text("None.")
    titles = {(one.module, one.number): one.title for one in record.editions}
    for quiz in record.quizzes:
        title = titles.get((quiz.module, quiz.edition), quiz.module)
        yield heading(f"{title}, edition {quiz.edition}, {day(quiz.day)}", 3)
        yield facts(_score(quiz, record))
        yield (
            table(
                ("When", "Whose it was said to be", "Why", "By"),
                [
                    (
                        at_zone(one.at, record.zone),
                        IDENTITY[IdentityVerdict(one.verdict)]
                        + (
                            ""
                            if one.ours or one.verdict in ("undone", "not_a_patient")
                            else ": another patient"
                        ),
                        "; ".join(
                            [
                                *(WHY[Why(reason)] for reason in one.reasons),
                                *filter(None, [one.note]),
                            ]
                        ),
                        one.by or "the identity rule",
                    )
                    for one in quiz.decisions
                ],
                (5, 4, 8, 4),
            )
            if quiz.decisions
            else text("Whose it is has not been decided.")
        )


def _score(quiz: Quiz, record: ClearanceRecord) -> list[tuple[str, str]]:
    if not quiz.ours:
        return [("Answers", "not told: it was not decided to be this patient’s")]
    passed = "passed" if quiz.passed else "not passed"
    how = came(Way(quiz.way), quiz.typed_by, quiz.answered_on, quiz.day)
    return [
        ("Result", f"{quiz.right} of {quiz.total} right, pass mark {quiz.pass_mark} %: {passed}"),
        ("Safety-critical questions", _missed(quiz, record)),
        ("Typed", f"{quiz.typed_name}, born {_given(quiz.typed_birth_date)}"),
        ("How it came", how),
    ]


def _missed(quiz: Quiz, record: ClearanceRecord) -> str:
    edition = next(
        (e for e in record.editions if (e.module, e.number) == (quiz.module, quiz.edition)), None
    )
    shown = {answer.name for answer in quiz.answers}
    asked = [
        one
        for one in (edition.questions if edition else ())
        if one.safety_critical and one.name in shown
    ]
    if not asked:
        return "none in this edition"
    missed = [one.stem for one in asked if one.key in quiz.missed_safety]
    return f"wrong: {' | '.join(missed)}" if missed else f"all {len(asked)} right"


# --- days and names ---------------------------------------------------------------------------


def _or_date(value: date | None) -> str:
    return f"OR date {day(value)}" if value else "no OR date"


def _short(name: str) -> str:
    return name if len(name) <= HEADER_NAME else f"{name[: HEADER_NAME - 1]}…"


def _window(opens_on: date | None, clear_by: date | None) -> str:
    if opens_on is None or clear_by is None:
        return "no window without an OR date"
    return f"{day(opens_on)} to {day(clear_by)}"


def _given(value: date | None) -> str:
    return day(value) if value else "not given"
