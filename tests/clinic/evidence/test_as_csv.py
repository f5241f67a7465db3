"""The clearance record as CSV: RFC 4180, no live formulas, and back unchanged (promise T5)."""

import csv
from dataclasses import replace
from io import StringIO

import pytest

from clinic.evidence import as_csv
from clinic.evidence.record import ClearanceRecord
from tests.clinic.evidence.a_record import a_story

pytestmark = pytest.mark.django_db
_kept: list[ClearanceRecord] = []

# 16 ways to begin a formula: the signs of OWASP, CSV Injection (from memory, as in standards row
# CSV-2), in full width, and behind what a spreadsheet passes over.
FORMULAS = (
    "=1+1", "+1", "-1", "@SUM(1)", "\t=1", "\r=1", "\n=1", " =1", "  +1", "'=1",
    "''=1", "＝1", "＋1", "－1", "＠1", "' =1",
)  # fmt: skip


@pytest.mark.parametrize("formula", FORMULAS)
def test_no_cell_runs_as_a_formula_and_all_come_back(formula: str) -> None:
    record = a_story_once()
    person = replace(record.person, given_names=formula, family_names=formula, mrn=formula)
    contact = replace(
        record.contacts[0], made=replace(record.contacts[0].made, by=formula, reason=formula)
    )
    changed = replace(record, person=person, contacts=(contact,), programme=formula)
    written = as_csv.write(changed)
    assert as_csv.read(written) == list(as_csv.rows(changed))
    cells = [cell for line in csv.reader(StringIO(written.decode("utf-8-sig"))) for cell in line]
    live = ("=", "+", "-", "@", "＝", "＋", "－", "＠")
    assert not [cell for cell in cells if cell.lstrip().startswith(live)]


def a_story_once() -> ClearanceRecord:
    """One story is enough: only its values are looked at."""
    if not _kept:
        _kept.append(a_story().record())
    return _kept[0]


def test_lines_end_and_fields_are_quoted_as_rfc_4180_says() -> None:
    """RFC 4180, section 2, rules 1, 4, 6 and 7."""
    record = a_story_once()
    said = 'She said "sips", not gulps,\r\nand smiled.'
    contact = replace(record.contacts[0], made=replace(record.contacts[0].made, reason=said))
    text = as_csv.write(replace(record, contacts=(contact,))).decode("utf-8-sig")
    assert '"She said ""sips"", not gulps,\r\nand smiled."\r\n' in text
    lines = list(csv.reader(StringIO(text, newline=""), strict=True))
    assert {len(line) for line in lines} == {len(as_csv.HEADINGS)}
    assert text.count("\n") == text.count("\r\n")


def test_it_tells_each_kind_of_thing_that_happened() -> None:
    kinds = {row.kind for row in as_csv.rows(a_story_once())}
    assert kinds == {
        "record", "patient", "other name", "operation", "plan", "requirement", "window",
        "invitation", "attempt", "waiver", "taken back", "confirmation", "quiz", "answer",
        "identity decision", "clearance", "revocation", "edition", "contact", "teach-back",
        "teach-back point",
    }  # fmt: skip


@pytest.mark.parametrize(
    "content", [b"", b"a,b\r\n1,2\r\n", ",".join(as_csv.HEADINGS).encode() + b"\r\nonly,two\r\n"]
)
def test_another_file_is_not_read(content: bytes) -> None:
    with pytest.raises(as_csv.NotAClearanceRecord):
        as_csv.read(content)
