"""Write a clearance record as CSV, one row for each thing that is on record, and read it back.

Form: RFC 4180, UTF-8 with a byte order mark; no cell runs as a formula (patients.rules.csv_cells).
Instants are ISO 8601 in UTC, days ISO dates; what does not apply to a row is empty. `kind` and `id`
name a row, `of` the row that it belongs to.
"""

import csv
from collections.abc import Iterable, Iterator
from dataclasses import astuple, dataclass, fields
from datetime import UTC, date, datetime
from io import StringIO

from clinic.evidence.record import (
    Accepted,
    Act,
    ClearanceRecord,
    Cleared,
    Invited,
    PlannedOperation,
    PublishedEdition,
    Quiz,
    Required,
    TaughtBack,
)
from education.rules.quiz_way import Way
from patients.rules.csv_cells import neutralise, restore

LIST = " | "  # between the items of one cell


@dataclass(frozen=True)
class Row:
    """One line of the file."""

    kind: str
    id: str = ""
    of: str = ""
    recorded_at: str = ""
    by: str = ""
    day: str = ""
    opens_on: str = ""
    clear_by: str = ""
    module: str = ""
    edition: str = ""
    what: str = ""
    name: str = ""
    right: str = ""
    total: str = ""
    pass_mark: str = ""
    why: str = ""
    note: str = ""


HEADINGS = tuple(field.name for field in fields(Row))


class NotAClearanceRecord(ValueError):
    """The file has other headings, or a row has another number of cells."""


def write(record: ClearanceRecord) -> bytes:
    """Return the file."""
    text = StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(HEADINGS)
    for row in rows(record):
        writer.writerow([neutralise(cell) for cell in astuple(row)])
    return b"\xef\xbb\xbf" + text.getvalue().encode()


def read(content: bytes) -> list[Row]:
    """Return the rows of a file that `write` wrote. Raises NotAClearanceRecord for another one."""
    lines = list(csv.reader(StringIO(content.decode("utf-8-sig"), newline="")))
    if not lines or tuple(lines[0]) != HEADINGS:
        raise NotAClearanceRecord("the headings are not those of a clearance record")
    if any(len(line) != len(HEADINGS) for line in lines):
        raise NotAClearanceRecord("a row has another number of cells than the headings")
    return [Row(*(restore(cell) for cell in line)) for line in lines[1:]]


def rows(record: ClearanceRecord) -> Iterator[Row]:
    """Yield what the file says, in the order in which it says it."""
    person = record.person
    yield Row(
        "record",
        of=f"patient {person.id}",
        recorded_at=_at(record.made_at),
        by=record.made_by,
        day=record.on.isoformat(),
        what="as it stood" if record.past else "as it stands",
        name=record.programme,
        note=str(record.zone),
    )
    yield Row(
        "patient",
        str(person.id),
        day=person.birth_date.isoformat(),
        name=person.full_name,
        what=person.mrn,
        note=LIST.join(person.also_mrns),
    )
    for other in person.other_names:
        full = f"{other.given_names} {other.family_names}".strip()
        yield Row("other name", of=f"patient {person.id}", what=other.kind, name=full)
    for operation in record.operations:
        yield from _operation(operation)
    for quiz in record.quizzes:
        yield from _quiz(quiz)
    for cleared in record.clearances:
        yield from _cleared(cleared)
    for edition in record.editions:
        yield _edition(edition)
        for beside in edition.beside:
            yield Row(
                "shown",
                of=f"{edition.module}, edition {edition.number}",
                module=edition.module,
                edition=str(edition.number),
                what=beside.what,
                name=beside.section,
                why=beside.says,
                note=beside.file,
            )
    for held in record.teach_backs:
        yield from _taught_back(held)
    for contact in record.contacts:
        what = f"{contact.means}: {contact.outcome}"
        made_at = _at(contact.made_at) if contact.made_at != contact.made.at else ""
        yield _act(
            "contact",
            contact.made,
            id=str(contact.id),
            day=_day(contact.next_on),
            what=what,
            why=f"made {made_at}" if made_at else "",
        )
        if contact.corrected:
            yield _act("contact corrected", contact.corrected, of=f"contact {contact.id}")


def _operation(operation: PlannedOperation) -> Iterator[Row]:
    mine = f"operation {operation.id}"
    yield Row(
        "operation",
        str(operation.id),
        day=_day(operation.or_date),
        what=operation.booking,
        name=operation.procedure,
        why=LIST.join([operation.word, *operation.holds]),
        note=LIST.join(filter(None, [operation.surgeon, operation.facility])),
    )
    for plan in operation.plans:
        yield Row(
            "plan",
            of=mine,
            recorded_at=_at(plan.at),
            by=plan.by,
            day=_day(plan.or_date),
            what=plan.booking,
            name=plan.procedure,
            why=plan.source,
            note=plan.reason,
        )
    for required in operation.required:
        yield from _required(required, mine)
    for one in operation.confirmations:
        yield _act(
            "confirmation",
            one.made,
            id=str(one.id),
            of=mine,
            day=one.or_date.isoformat(),
            what=f"{one.word}, against a hold" if one.against_hold else one.word,
            name=one.clinician,
            why=LIST.join(one.reasons),
        )


def _required(required: Required, operation: str) -> Iterator[Row]:
    mine = f"requirement {required.id}"
    yield Row(
        "requirement",
        str(required.id),
        of=operation,
        day=_day(required.cleared_on),
        opens_on=_day(required.opens_on),
        clear_by=_day(required.clear_by),
        module=required.module,
        what=f"{required.standing}, closed" if required.closed else required.standing,
        name=required.title,
        why=LIST.join(required.reasons),
        note=f"clearance {required.rests_on}" if required.rests_on else "",
    )
    for window in required.windows:
        yield Row(
            "window",
            of=mine,
            recorded_at=_at(window.at),
            day=_day(window.or_date),
            opens_on=_day(window.opens_on),
            clear_by=_day(window.clear_by),
            what="closed" if window.closed else "open",
        )
    for one in required.invitations:
        yield Row(
            "invitation",
            str(one.id),
            of=mine,
            recorded_at=_at(one.at),
            by=one.by,
            what=_went_out(one),
            why=one.ended_because,
            note=f"ended {_at(one.ended_at)}" if one.ended_at else "",
        )
    for begun in required.attempts:
        yield Row(
            "attempt",
            str(begun.id),
            of=mine,
            recorded_at=_at(begun.at),
            what=str(begun.number),
            note=f"quiz {begun.quiz_id}" if begun.quiz_id else "not handed in",
        )
    for kind, accepted in (("sign-off", required.sign_offs), ("waiver", required.waivers)):
        yield from _accepted(kind, accepted, mine)


def _went_out(one: Invited) -> str:
    if one.way != Way.LINK:
        return one.way
    return f"emailed {_at(one.emailed_at)}" if one.emailed_at else "not emailed"


def _accepted(kind: str, listed: Iterable[Accepted], of: str) -> Iterator[Row]:
    for one in listed:
        what = f"clearance {one.clearance_id}" if one.clearance_id else ""
        needs = "needs a second clinician" if one.needs_second else ""
        yield _act(kind, one.made, id=str(one.id), of=of, what=what, why=needs)
        if one.second:
            agrees = "agrees" if one.second.agrees else "declines"
            yield _act("second clinician", one.second.said, of=f"{kind} {one.id}", what=agrees)
        if one.taken_back:
            yield _act("taken back", one.taken_back, of=f"{kind} {one.id}")


def _quiz(quiz: Quiz) -> Iterator[Row]:
    mine = f"quiz {quiz.id}"
    yield Row(
        "quiz",
        str(quiz.id),
        recorded_at=_at(quiz.at),
        by=quiz.typed_by,
        day=_day(quiz.typed_birth_date),
        module=quiz.module,
        edition=str(quiz.edition),
        what="passed" if quiz.passed else "failed",
        name=quiz.typed_name,
        right=str(quiz.right),
        total=str(quiz.total),
        pass_mark=str(quiz.pass_mark),
        why=LIST.join(quiz.missed_safety),
        note=LIST.join(filter(None, [quiz.way, _filled_in(quiz)])),
    )
    for answer in quiz.answers:
        yield Row(
            "answer",
            of=mine,
            name=answer.name,
            what="right" if answer.right else "wrong",
            note=LIST.join(answer.words),
        )
    for decision in quiz.decisions:
        yield Row(
            "identity decision",
            str(decision.id),
            of=mine,
            recorded_at=_at(decision.at),
            by=decision.by,
            what=decision.verdict,
            name="this patient" if decision.ours else "",
            why=LIST.join(decision.reasons),
            note=decision.note,
        )


def _filled_in(quiz: Quiz) -> str:
    return f"filled in {_day(quiz.answered_on)}" if quiz.answered_on else ""


def _cleared(cleared: Cleared) -> Iterator[Row]:
    yield _act(
        "clearance",
        cleared.made,
        id=str(cleared.id),
        of=f"quiz {cleared.quiz_id}" if cleared.quiz_id else "",
        day=cleared.cleared_on.isoformat(),
        module=cleared.module,
        edition=str(cleared.edition),
        what=cleared.evidence,
        why=f"from MRN {cleared.carried_from}" if cleared.carried_from else "",
    )
    if cleared.revoked:
        yield _act("revocation", cleared.revoked, of=f"clearance {cleared.id}")


def _taught_back(held: TaughtBack) -> Iterator[Row]:
    mine = f"teach-back {held.id}"
    yield _act(
        "teach-back",
        held.made,
        id=str(held.id),
        of=f"requirement {held.requirement_id}",
        day=_day(held.next_on),
        module=held.module,
        edition=str(held.edition),
        what=f"{held.means}: {held.outcome}",
        name=f"clearance {held.clearance_id}" if held.clearance_id else "",
        why="one more attempt" if held.one_more_attempt else "",
    )
    for point in held.points:
        understood = {True: "understood", False: "not yet", None: "not gone through"}
        marks = ("safety-critical", point.safety_critical), ("missed in a quiz", point.missed)
        yield Row(
            "teach-back point",
            of=mine,
            name=point.name,
            what=understood[point.understood],
            why=LIST.join([word for word, holds in marks if holds] + [f"asked: {point.asked}"]),
            note=point.said,
        )
    if held.never:
        yield _act("never took place", held.never, of=mine)


def _edition(edition: PublishedEdition) -> Row:
    """An edition that was read or asked, published on a day, and whether a clinician signed it."""
    signed = edition.signed
    return Row(
        "edition",
        recorded_at=_at(signed.at if signed else edition.at),
        by=signed.by if signed else "",
        module=edition.module,
        edition=str(edition.number),
        what="signed" if signed else "unsigned",
        name=edition.title,
        pass_mark=str(edition.pass_mark),
    )


def _act(kind: str, made: Act, **cells: str) -> Row:
    return Row(kind, recorded_at=_at(made.at), by=made.by, note=made.reason, **cells)


def _at(at: datetime | None) -> str:
    return at.astimezone(UTC).isoformat() if at else ""


def _day(day: date | None) -> str:
    return day.isoformat() if day else ""
