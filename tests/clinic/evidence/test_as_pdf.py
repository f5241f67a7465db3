"""The clearance record as a PDF: what a reader of the file finds in it (pypdf)."""

from dataclasses import replace
from io import BytesIO
from typing import Any

import pytest
from pypdf import PdfReader

from clinic.evidence import as_pdf
from clinic.evidence.record import ClearanceRecord
from tests.clinic.evidence.a_record import a_story

pytestmark = pytest.mark.django_db
_kept: list[ClearanceRecord] = []


@pytest.fixture
def record(db: None) -> ClearanceRecord:
    """One story is enough: only its values are looked at."""
    if not _kept:
        _kept.append(a_story().record())
    return _kept[0]


def read(record: ClearanceRecord) -> PdfReader:
    """Only the typesetter's own fonts, so that every machine says the same."""
    return PdfReader(BytesIO(as_pdf.write(record, ignore_system_fonts=True)))


def text(reader: PdfReader) -> str:
    """The words of all pages, without line ends and the spaces of no width in long words."""
    found = " ".join(page.extract_text() for page in reader.pages)
    return " ".join(found.replace("\u200b", "").split())


def named(record: ClearanceRecord, name: str) -> ClearanceRecord:
    return replace(record, person=replace(record.person, given_names=name, family_names="Quill"))


def test_every_page_names_the_patient_the_or_date_and_who_made_it(record: ClearanceRecord) -> None:
    reader = read(record)
    assert len(reader.pages) > 1
    born = record.person.birth_date
    or_date = record.operations[0].or_date
    assert or_date
    for page in reader.pages:
        said = " ".join(page.extract_text().split())
        assert record.person.full_name in said
        assert record.person.mrn in said
        assert f"born {born.day} {born:%B %Y}" in said
        assert f"OR date {or_date.day} {or_date:%B %Y}" in said
        assert "by Casimir Boateng" in said
        assert f"{record.made_at.astimezone(record.zone):%H:%M %Z}" in said


def test_it_is_tagged_and_says_its_language_and_title(record: ClearanceRecord) -> None:
    """PDF/UA-1 (ISO 14289-1): marked content, a structure tree, a language, a title."""
    root: Any = read(record).trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert "/StructTreeRoot" in root
    assert root["/Lang"] == "en"
    assert b"pdfuaid" in root["/Metadata"].get_data()


def test_it_tells_the_answer_the_evidence_and_its_own_limits(record: ClearanceRecord) -> None:
    said = text(read(record))
    for part in (
        "the answer was: Confirm", "quiz passed", "7 of 7 right, pass mark 80 %: passed",
        "matched automatically", "date of birth equal", "The room was needed.",
        "Another patient was meant.", "Taught on the ward.", "With her son.",
        "decision of the licensed clinicians", "What this record does not say",
    ):  # fmt: skip
        assert part in said, part


@pytest.mark.parametrize(
    "name",
    [
        "Ana",
        "O",
        "D'Arcy-Łukasz",
        "Zoë́",
        "Nguyễn Thị Ánh",
        "Ёлкин Δημήτρης",
        "*strong* _emph_ #eval(1) $x$ `code` \\ <b> // no /* comment */",
        "#sys.inputs.record",
        "=1+1",
        "fi ffl ﬁ",
        "W" * 200,
    ],
)
def test_names_come_out_unchanged_and_run_nothing(record: ClearanceRecord, name: str) -> None:
    """Promise W7; fault 27. Where the lines of a long name end is not looked at."""
    said = "".join(text(read(named(record, name))).split())
    assert f"Name{''.join(name.split())}" in said


@pytest.mark.parametrize("name", ["שרה לוי", "محمد علي"])
def test_right_to_left_names_keep_their_words(record: ClearanceRecord, name: str) -> None:
    """A reader of the file gets the words as they stand from left to right on the line."""
    said = text(read(named(record, name)))
    assert all(word in said for word in name.split())


def test_what_no_font_can_draw_is_printed_as_its_number_and_said(record: ClearanceRecord) -> None:
    said = text(read(named(record, "王小明 😀")))
    assert "Name [U+738B][U+5C0F][U+660E] [U+1F600] Quill" in said
    assert "Some characters could not be drawn" in said
    assert "Some characters could not be drawn" not in text(read(record))


def test_what_turns_a_line_round_is_shown_not_obeyed(record: ClearanceRecord) -> None:
    assert "Name a[U+202E]b[U+0000] Quill" in text(read(named(record, "a\u202eb\x00")))
