"""What rows of a schedule say: dates, names, headers, cells. One table for each question."""

import csv
from datetime import date
from io import StringIO

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patients.rules.csv_cells import neutralise, restore
from patients.rules.names import name_key
from patients.rules.schedule_columns import Column, recognise
from patients.rules.schedule_dates import read_date
from patients.rules.schedule_file import MAX_BYTES, read_text
from patients.rules.schedule_names import readable
from patients.rules.schedule_reasons import NotASchedule, Notice, Reason, Refusal
from patients.rules.schedule_rows import ScheduleRow, Unreadable, read_rows
from patients.rules.schedule_table import MAX_CELL, MAX_COLUMNS, MAX_ROWS, read_table

ON = date(2026, 11, 25)
HEADER = "MRN,Last Name,First Name,DOB,Procedure,OR Date"
DAY = date(2027, 3, 4)

# cell, day first?, what it means, why
DATES = [
    ("2027-03-04", None, DAY, "ISO"),
    ("2027/03/04", None, DAY, "the year first is never ambiguous"),
    ("2027-3-4", None, DAY, "without zeros"),
    ("20270304", None, DAY, "compact"),
    ("4 Mar 2027", None, DAY, "the month by name"),
    ("MAR 4 2027", None, DAY, "in capitals"),
    ("04-MAR-2027", None, DAY, "with hyphens"),
    ("March 4, 2027", None, DAY, "the whole name and a comma"),
    ("4th March 2027", None, DAY, "an ordinal"),
    ("4 de marzo de 2027", None, DAY, "Spanish"),
    ("Thu 4 Mar 2027", None, DAY, "4 March 2027 is a Thursday (cal 3 2027)"),
    ("2027-03-04T07:30:00", None, DAY, "a time of day is passed over"),
    ("3/25/2027 7:30 AM", None, date(2027, 3, 25), "there is no month 25"),
    ("25.03.2027", None, date(2027, 3, 25), "nor here"),
    ("04/04/2027", None, date(2027, 4, 4), "the same either way"),
    ("03/04/2027", True, date(2027, 4, 3), "chosen: day first"),
    ("03/04/2027", False, DAY, "chosen: month first"),
    ("29 Feb 2028", None, date(2028, 2, 29), "a leap year"),
    ("03/04/2027", None, Reason.DATE_AMBIGUOUS, "two days, nobody chose"),
    ("3/25/2027", True, Reason.AGAINST_DATE_ORDER, "says that the choice is wrong"),
    ("25/3/2027", False, Reason.AGAINST_DATE_ORDER, "says that the choice is wrong"),
    ("Wed 4 Mar 2027", None, Reason.WRONG_WEEKDAY, "it is a Thursday"),
    ("31 Feb 2027", None, Reason.NO_SUCH_DAY, "February has no 31st"),
    ("2027-02-29", None, Reason.NO_SUCH_DAY, "no leap year"),
    ("2027-13-01", None, Reason.NO_SUCH_DAY, "no month 13"),
    ("31/02/2027", None, Reason.NO_SUCH_DAY, "in numbers too"),
    ("13/13/2027", None, Reason.NO_SUCH_DAY, "neither is a month"),
    ("00/10/2027", None, Reason.NO_SUCH_DAY, "no day 0"),
    ("3/25/27", None, Reason.TWO_DIGIT_YEAR, "which century?"),
    ("4 Mar 27", None, Reason.TWO_DIGIT_YEAR, "which century?"),
    ("4 Mar 0207", None, Reason.IMPOSSIBLE_YEAR, "a slip of the finger"),
    ("2072-03-04T02:00:00Z", None, Reason.ZONED_TIME, "an instant is no date (CAL-9)"),
    ("2027-03-04T02:00:00+01:00", None, Reason.ZONED_TIME, "nor with an offset"),
    ("46450", None, Reason.DATE_UNREADABLE, "a spreadsheet's day count"),
    ("next Tuesday", None, Reason.DATE_UNREADABLE, "words"),
    ("4 Mrz 2027", None, Reason.DATE_UNREADABLE, "no month of the two languages"),
    ("٢٠٢٧-٠٣-٠٤", None, DAY, "digits of another script are digits"),
]


@pytest.mark.parametrize("cell, day_first, expected, why", DATES)
def test_dates(cell: str, day_first: bool | None, expected: date | Reason, why: str) -> None:
    assert read_date(cell, day_first=day_first) == expected, why


# A name in one case, as it is stored; the names are invented.
CAPITALS = [
    ("O'NEILL-DÍAZ", "O'Neill-Díaz"),
    ("MARÍA JOSÉ", "María José"),
    ("DE LA CRUZ", "De La Cruz"),
    ("MCDONALD", "Mcdonald"),
    ("d’angelo", "D’Angelo"),
    ("MARI\u0301A", "Mari\u0301a"),
    ("ASHBY III", "Ashby III"),
    ("J.R.", "J.R."),
    ("X", "X"),
    ("ÅSA", "Åsa"),
    ("ΣΟΦΟΣ", "Σοφος"),
]


@pytest.mark.parametrize("written, stored", CAPITALS)
def test_names_in_one_case(written: str, stored: str) -> None:
    assert readable(written) == stored
    assert name_key(written, "") == name_key(stored, ""), "it stays the same name"


# Given, family: 25 shapes of promise W7, which come through unchanged.
SHAPES = [
    ("Ana", "Silva"),
    ("Wulan", ""),
    ("X", "Ö"),
    ("Seán", "O'Neill"),
    ("Siân", "O’Neill"),
    ("Leilani", "Kaʻahumanu"),
    ("Jean-Luc", "Picot-Verde"),
    ("María José", "de la Cruz"),
    ("Mari\u0301a", "Di\u0301az"),
    ("Nguyễn Thị", "Bích"),
    ("Zoë", "Łukasiewicz"),
    ("Bjørn", "Þórsson"),
    ("İpek", "Işık"),
    ("Straße", "Groß"),
    ("مريم", "الحداد"),
    ("רות", "לוי"),
    ("美咲", "佐藤"),
    ("민준", "김"),
    ("Олена", "Шевчук"),
    ("Ελένη", "Παπαδάκη"),
    ("อรุณ", "สุขใจ"),
    ("प्रिया", "शर्मा"),
    ("Mary (Molly)", "Smith, Jr."),
    ("van", "'t Hooft"),
    ("L" + "o" * 199, "Ng" * 100),
]


@pytest.mark.parametrize("given_names, family_names", SHAPES)
def test_names_come_through_unchanged(given_names: str, family_names: str) -> None:
    row = only_row(cells(family_names, given_names))
    assert isinstance(row, ScheduleRow)
    assert (row.given_names, row.family_names) == (given_names, family_names)
    assert Notice.NAME_RECASED not in {said.notice for said in row.notices}


def test_there_are_25_shapes() -> None:
    assert len(SHAPES) == 25


# Fault 27: family name, what comes of it
FAULT_27 = [
    ("<script>alert(1)</script>", None, "markup is text"),
    ("Silva 🌊", None, "so is an emoji"),
    ("=HYPERLINK(1)", None, "a leading = stays as text"),
    ("Sil|va^De~La&Cruz\\", None, "HL7 delimiters are text"),
    ("Sil\u202eva", Reason.HIDDEN_DIRECTION, "a right-to-left override"),
    ("Sil\u2066va", Reason.HIDDEN_DIRECTION, "an isolate"),
    ("Sil\x00va", Reason.HAS_NUL, "NUL"),
    ("Sil\r\nva", Reason.LINE_BREAK, "CRLF"),
    ("Sil\u2028va", Reason.LINE_BREAK, "a line separator"),
    ("Sil\tva", Reason.CONTROL_CHARACTER, "a tab"),
    ("Sil\x1bva", Reason.CONTROL_CHARACTER, "an escape"),
    ("Sil\ufffdva", Reason.DAMAGED_LETTERS, "letters were lost"),
    ("S" * 201, Reason.TOO_LONG, "longer than a record holds"),
    ("S" * MAX_CELL, Reason.TOO_LONG, "10,000 characters"),
]


@pytest.mark.parametrize("family_names, reason, why", FAULT_27)
def test_fault_27_names(family_names: str, reason: Reason | None, why: str) -> None:
    row = only_row(cells(family_names, "Ana"))
    if reason is None:
        assert isinstance(row, ScheduleRow), why
        assert row.family_names == family_names
    else:
        assert isinstance(row, Unreadable), why
        assert [(p.reason, p.column) for p in row.problems] == [(reason, "Last Name")]


# column, cell, reason
CELLS = [
    ("MRN", "", Reason.MISSING),
    ("MRN", "1.23457E+11", Reason.DAMAGED_NUMBER),
    ("MRN", "7" * 41, Reason.TOO_LONG),
    ("DOB", "", Reason.MISSING),
    ("DOB", "2026-11-26", Reason.BORN_IN_FUTURE),
    ("DOB", "1905-01-01", Reason.IMPOSSIBLE_YEAR),
    ("Procedure", "", Reason.MISSING),
    ("OR Date", "2072-03-04", Reason.IMPOSSIBLE_YEAR),
    ("Email", "ana@", Reason.EMAIL_UNREADABLE),
    ("Email", "ana@example.org, b@example.org", Reason.EMAIL_UNREADABLE),
    ("Status", "maybe", Reason.STATUS_UNKNOWN),
]


@pytest.mark.parametrize("column, cell, reason", CELLS)
def test_cells_that_reject_a_row(column: str, cell: str, reason: Reason) -> None:
    facts = {
        "MRN": "A1",
        "Last Name": "Silva",
        "First Name": "Ana",
        "DOB": "1980-02-03",
        "Procedure": "Sleeve",
        "OR Date": "2027-03-04",
        "Email": "",
        "Status": "",
    } | {column: cell}
    row = only_row(written(list(facts), list(facts.values())))
    assert isinstance(row, Unreadable)
    assert [(p.reason, p.column) for p in row.problems] == [(reason, column)]


def test_every_reason_of_a_row_is_told_at_once() -> None:
    row = only_row(f"{HEADER}\n,Silva,Ana,31 Feb 1980,,2027-02-30\n")
    assert isinstance(row, Unreadable)
    assert [problem.column for problem in row.problems] == ["MRN", "DOB", "Procedure", "OR Date"]


# full name as written: given, family; None when it cannot be parted
FULL_NAMES = [
    ("O'NEILL-DÍAZ, MARÍA JOSÉ", ("María José", "O'Neill-Díaz")),
    ("Silva, Ana", ("Ana", "Silva")),
    ("Wulan", ("Wulan", "")),
    ("Ana Silva", None),
    ("Silva, Ana, Jr.", None),
    ("Silva,", None),
]


@pytest.mark.parametrize("name, parts", FULL_NAMES)
def test_full_names(name: str, parts: tuple[str, str] | None) -> None:
    text = written(
        ["MRN", "Patient Name", "DOB", "Procedure", "OR Date"],
        ["A1", name, "1980-02-03", "Sleeve", "2027-03-04"],
    )
    row = only_row(text)
    if parts:
        assert isinstance(row, ScheduleRow)
        assert (row.given_names, row.family_names) == parts
    else:
        assert isinstance(row, Unreadable)
        assert row.problems[0].reason == Reason.NAME_NOT_PARTED


# heading as exports write it, the column it means
HEADINGS = [
    ("Medical Record Number", Column.MRN),
    ("PATIENT ID", Column.MRN),
    ("mrn:", Column.MRN),
    ("Family_Name", Column.FAMILY_NAMES),
    ("surname", Column.FAMILY_NAMES),
    ("FirstName", Column.GIVEN_NAMES),
    ("Given Name(s)", Column.GIVEN_NAMES),
    ("D.O.B.", Column.BIRTH_DATE),
    ("Birth Date", Column.BIRTH_DATE),
    ("Fecha de nacimiento", Column.BIRTH_DATE),
    ("E-Mail", Column.EMAIL),
    ("Case #", Column.CASE_NUMBER),
    ("case id", Column.CASE_NUMBER),
    ("Location", Column.FACILITY),
    ("Date of Surgery", Column.OR_DATE),
    ("SURGERY DATE", Column.OR_DATE),
    ("Booking", Column.STATUS),
    ("Teléfono", Column.PHONE),
]


@pytest.mark.parametrize("heading, column", HEADINGS)
def test_headings(heading: str, column: Column) -> None:
    assert dict(recognise([heading]).places) == {column: 0}


def test_the_stronger_of_two_headings_counts_and_the_other_is_named() -> None:
    found = recognise(["Patient ID", "MRN", "Ward"])
    assert found.places[Column.MRN] == 1
    assert found.unused == ("Patient ID", "Ward")


# RFC 4180, section 2, by rule: text, the cells of the second record. Standards row CSV-1.
RFC_4180 = [
    ("rule 1: lines end with CRLF", "aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", ["zzz", "yyy", "xxx"]),
    ("rule 2: the last may lack it", "aaa,bbb,ccc\r\nzzz,yyy,xxx", ["zzz", "yyy", "xxx"]),
    ("rule 4: blanks belong to a field", "a,b,c\r\naaa, bbb ,ccc", ["aaa", " bbb ", "ccc"]),
    ("rule 5: quotes or none", 'a,b,c\r\n"aaa","bbb","ccc"\r\n', ["aaa", "bbb", "ccc"]),
    ("rule 6: CRLF in quotes", 'a,b,c\r\n"aaa","b\r\nbb","ccc"\r\n', ["aaa", "b\r\nbb", "ccc"]),
    ("rule 7: quotes doubled", 'a,b,c\r\n"aaa","b""bb","ccc"', ["aaa", 'b"bb', "ccc"]),
]


@pytest.mark.parametrize("rule, text, expected", RFC_4180)
def test_rfc_4180(rule: str, text: str, expected: list[str]) -> None:
    first, _, rest = text.partition("\r\n")
    assert first.count(",") == 2
    needed = "MRN,Full Name,DOB,Procedure,OR Date"
    lines = f"{needed},One,Two,Three\r\n"
    table = read_table(lines + 'A1,"Silva, Ana",1980-02-03,Sleeve,2027-03-04,' + rest)
    assert list(table.records[0].cells[5:]) == expected, rule


def test_a_row_of_another_length_is_rejected_rule_4() -> None:
    for fields in ("A1,Silva,Ana,1980-02-03,Sleeve", "A1,Silva,Ana,1980-02-03,Sleeve,2027-03-04,x"):
        row = only_row(f"{HEADER}\n{fields}\n")
        assert isinstance(row, Unreadable)
        assert row.problems[0].reason == Reason.WRONG_FIELD_COUNT


def test_separators_titles_and_blank_rows() -> None:
    text = "Theatre list;;\n\n" + HEADER.replace(",", ";") + "\n;;;;;\nA1;Silva;Ana;;;\n\n"
    table = read_table(text)
    assert (table.separator, table.lines_above, table.blank_rows) == (";", 2, 2)
    assert [record.line for record in table.records] == [5]
    assert read_table(text.replace(";", "\t")).separator == "\t"


def refused(text: str) -> Refusal:
    with pytest.raises(NotASchedule) as caught:
        read_table(text)
    return caught.value.refusal


def test_what_refuses_a_whole_text() -> None:
    row = "A1,Silva,Ana,1980-02-03,Sleeve,2027-03-04"
    assert refused(f'{HEADER}\n{row}\n"A2,Silva\n') == Refusal.BROKEN_QUOTES
    assert refused(f"{HEADER}\n{row},{'x' * (MAX_CELL + 1)}\n") == Refusal.CELL_TOO_LONG
    assert refused(f"{HEADER}{',x' * MAX_COLUMNS}\n") == Refusal.TOO_MANY_COLUMNS
    assert refused(f"{HEADER},MRN\n{row},A1\n") == Refusal.COLUMN_TWICE
    assert refused(f"{row}\n{row}\n") == Refusal.COLUMNS_MISSING


def test_100_000_rows_are_taken_and_one_more_is_not() -> None:
    rows = "A1,Silva,Ana,1980-02-03,Sleeve,2027-03-04\n" * MAX_ROWS
    assert len(read_table(f"{HEADER}\n{rows}").records) == MAX_ROWS
    assert refused(f"{HEADER}\n{rows}A1,,,,,\n") == Refusal.TOO_MANY_ROWS


def test_a_missing_header_says_what_is_needed_and_what_was_found() -> None:
    with pytest.raises(NotASchedule) as caught:
        read_table("MRN,Surname,Birth date\nA1,Silva,1980-02-03\n")
    assert caught.value.detail["missing"] == (
        "last name and first name (or one column with LAST, FIRST); procedure; OR date"
    )
    assert caught.value.detail["found"] == "MRN, Surname, Birth date"


# first bytes (from the formats' own descriptions), what the file is
KINDS = [
    (b"PK\x03\x04" + b"\0" * 30 + b"[Content_Types].xml", Refusal.WORKBOOK),
    (b"PK\x03\x04" + b"\0" * 30 + b"schedule.csv", Refusal.ARCHIVE),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", Refusal.WORKBOOK),
    (b"%PDF-1.7\n", Refusal.PDF),
    (b"\x89PNG\r\n\x1a\n", Refusal.PICTURE),
    (b"MZ\x90\x00\x03\x00", Refusal.PROGRAM),
    (b"\x7fELF\x02\x01", Refusal.PROGRAM),
    (b"\xef\xbb\xbf<html><table>", Refusal.MARKUP),
    (b"<?xml version='1.0'?><!DOCTYPE a [<!ENTITY b 'c'>]>", Refusal.MARKUP),
    (b"MSH|^~\\&|", Refusal.MESSAGE),
    (b'{"resourceType": "Bundle"}', Refusal.MESSAGE),
    ("MRN,Name".encode("utf-16-le"), Refusal.NOT_TEXT),
    (b"\x81\x8d" * 40, Refusal.NOT_TEXT),
    (b"", Refusal.EMPTY),
    (b"\xef\xbb\xbf \r\n", Refusal.EMPTY),
    (b"x" * (MAX_BYTES + 1), Refusal.TOO_MANY_BYTES),
]


@pytest.mark.parametrize("data, refusal", KINDS, ids=[str(k[1]) + str(len(k[0])) for k in KINDS])
def test_other_kinds_of_files_are_refused_by_content(data: bytes, refusal: Refusal) -> None:
    with pytest.raises(NotASchedule) as caught:
        read_text(data)
    assert caught.value.refusal == refusal


def test_encodings() -> None:
    assert read_text("MRN;Ñ".encode("utf-8-sig")) == ("MRN;Ñ", "utf-8")
    assert read_text("MRN;Ñ".encode("utf-16")) == ("MRN;Ñ", "utf-16")
    assert read_text("MRN;Ñ".encode("cp1252")) == ("MRN;Ñ", "cp1252")
    assert read_text(b"MZ Code,MRN") == ("MZ Code,MRN", "utf-8"), "letters, not a program"


# OWASP, CSV Injection (standards row CSV-2, from memory): what may start a formula, and tricks.
PREFIXES = [
    *("=", "+", "-", "@", "\t", "\r", "\n"),
    *("＝", "＋", "－", "＠"),
    *(" =", "\u00a0=", "'=", "''+", '="'),
]


def test_there_are_16_prefixes() -> None:
    assert len(PREFIXES) == 16


@pytest.mark.parametrize("prefix", PREFIXES)
def test_t5_a_formula_is_written_as_text_and_read_back_unchanged(prefix: str) -> None:
    cell = f"{prefix}cmd|' /C calc'!A0"
    assert neutralise(cell).startswith("'")
    assert restore(neutralise(cell)) == cell


@given(st.text(alphabet=st.sampled_from("'=+-@\t\r\n ＝a1\u00a0"), max_size=8) | st.text())
def test_t5_every_cell_comes_back_unchanged(cell: str) -> None:
    out = neutralise(cell)
    assert restore(out) == cell
    assert not out.lstrip().startswith(("=", "+", "-", "@", "＝", "＋", "－", "＠"))


def cells(family_names: str, given_names: str) -> str:
    return written(
        HEADER.split(","), ["A1", family_names, given_names, "1980-02-03", "Sleeve", "2027-03-04"]
    )


def written(*records: list[str]) -> str:
    """Return a CSV text; the first record is the header."""
    text = StringIO(newline="")
    csv.writer(text, lineterminator="\r\n", quoting=csv.QUOTE_ALL).writerows(records)
    return text.getvalue()


def only_row(text: str) -> ScheduleRow | Unreadable:
    (row,) = read_rows(read_table(text), day_first=None, on=ON)
    return row
