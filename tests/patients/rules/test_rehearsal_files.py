"""The files of a rehearsal: what is read, and what is said about what cannot be."""

from dataclasses import dataclass
from datetime import date

import pytest

from patients.rules.identity import Claim, WrittenDate
from patients.rules.rehearsal_files import (
    Files,
    Limits,
    NotRehearsable,
    Part,
    Problem,
    Wrong,
    read_files,
)
from patients.rules.schedule_reasons import Refusal

TODAY = date(2026, 11, 25)
NO_LIMIT = Limits(max_bytes=10**9, rows={})
REGISTER = "patient_id,given_name,family_name,date_of_birth\n"
CLAIMS = "claim_id,given_name,family_name,date_of_birth\n"
TRUTH = "claim_id,patient_id\n"
ANA = "P1,Ana,Ruiz,1980-03-12\n"
C1 = "C1,Ana,Ruiz,1980-03-12\n"


def read(
    register: str | bytes = REGISTER + ANA,
    claims: str | bytes = CLAIMS + C1,
    truth: str | bytes | None = None,
    limits: Limits = NO_LIMIT,
) -> Files:
    given = {Part.REGISTER: register, Part.CLAIMS: claims, Part.TRUTH: truth}
    contents = {
        part: text.encode() if isinstance(text, str) else text
        for part, text in given.items()
        if text is not None
    }
    return read_files(contents, on=TODAY, limits=limits)


def problems(**given: str | bytes) -> tuple[Problem, ...]:
    with pytest.raises(NotRehearsable) as refused:
        read(**given)  # type: ignore[arg-type]
    return refused.value.problems


def test_what_is_read() -> None:
    files = read(truth=TRUTH + "C1,P1\n")
    assert [(p.id, p.given_names, p.family_names, p.birth_date) for p in files.people] == [
        ("P1", "Ana", "Ruiz", date(1980, 3, 12))
    ]
    assert files.claims[0].claim_id == "C1"
    assert files.claims[0].claim == Claim("Ana", "Ruiz", date(1980, 3, 12))
    assert files.truth == {"C1": "P1"}


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_separators_and_line_ends(separator: str, end: str) -> None:
    text = (REGISTER + ANA).replace(",", separator).replace("\n", end)
    assert read(register=text).people == read().people


@pytest.mark.parametrize(
    "header",
    [
        "Patient ID,Given Name,Family Name,Date of Birth",
        "PATIENT_ID , given name,FAMILY_NAME,dateofbirth",
        '"patient_id","given_name","family_name","date_of_birth"',
    ],
)
def test_headings_in_any_case_and_with_any_blanks(header: str) -> None:
    assert read(register=f"{header}\n{ANA}").people == read().people


def test_columns_in_any_order_others_passed_over() -> None:
    text = "ward,date_of_birth,family_name,given_name,patient_id\n7,1980-03-12,Ruiz,Ana,P1\n"
    assert read(register=text).people == read().people


@pytest.mark.parametrize(
    "encoding, told",
    [("utf-8", "utf-8"), ("utf-8-sig", "utf-8"), ("cp1252", "cp1252"), ("utf-16", "utf-16")],
)
def test_encodings(encoding: str, told: str) -> None:
    files = read(register=(REGISTER + "P1,Zoë,Peña,1980-03-12\n").encode(encoding))
    assert (files.people[0].given_names, files.people[0].family_names) == ("Zoë", "Peña")
    assert files.about[0].encoding == told


def test_blank_lines_and_empty_rows_are_counted() -> None:
    files = read(register=f"\n{REGISTER}\n{ANA},,,\n\n")
    assert (files.about[0].rows, files.about[0].blank_rows) == (1, 3)


def test_a_header_alone_is_a_truth_of_which_nothing_is_known() -> None:
    assert read(truth=TRUTH).truth == {}


def test_a_register_without_patients_and_no_claims_are_errors() -> None:
    """Else every claim would fit nobody, and no word about why."""
    assert problems(register=f"\n{REGISTER}\n,,,\n", claims=CLAIMS, truth=TRUTH + "C1,P1\n") == (
        Problem(Part.REGISTER, 2, "", Wrong.NO_PATIENTS),
        Problem(Part.CLAIMS, 1, "", Wrong.NO_CLAIMS),
    )


def test_names_and_dates_may_be_empty() -> None:
    files = read(REGISTER + "P1,,,\nP2,Surya,,1970-02-02\n", CLAIMS + "C1,,,\n")
    assert files.people[0].birth_date is None
    assert files.claims[0].claim == Claim("", "", None)


def test_a_claim_keeps_what_was_typed_also_what_cannot_be() -> None:
    typed = ["1990-02-30", "1990-13-01", "2031-01-01", "0000-00-00", "1700-01-01", "20000229"]
    rows = "".join(f"C{n},A,B,{day}\n" for n, day in enumerate(typed))
    assert [asked.claim.birth_date for asked in read(claims=CLAIMS + rows).claims] == [
        WrittenDate(1990, 2, 30),
        WrittenDate(1990, 13, 1),
        date(2031, 1, 1),
        WrittenDate(0, 0, 0),
        date(1700, 1, 1),
        date(2000, 2, 29),
    ]


def test_ids_keep_their_zeros_and_their_spelling() -> None:
    files = read(REGISTER + "007,A,B,\n7,C,D,\np1,E,F,\nP1,G,H,\n")
    assert [person.id for person in files.people] == ["007", "7", "p1", "P1"]


def test_an_id_that_was_made_safe_for_a_spreadsheet_is_the_id_again() -> None:
    files = read(REGISTER + "'=1+1,A,B,\n", CLAIMS + "'-7,A,B,\n", TRUTH + "-7,=1+1\n")
    assert (files.people[0].id, files.claims[0].claim_id) == ("=1+1", "-7")
    assert files.truth == {"-7": "=1+1"}


@dataclass(frozen=True)
class Row:
    """A register that is wrong in one place."""

    text: str
    line: int
    column: str
    wrong: Wrong | Refusal
    detail: str = ""
    first_line: int = 0


WRONG = [
    # --- the whole file
    Row("", 1, "", Refusal.EMPTY),
    Row("\n \n,,,\n", 1, "", Refusal.EMPTY),
    Row("\n\u00a0\n", 1, "", Refusal.EMPTY),
    Row("PK\x03\x04[Content_Types]", 1, "", Refusal.WORKBOOK),
    Row(
        "patient_id,given_name,family_name\nP1,A,B\n",
        1,
        "date_of_birth",
        Wrong.COLUMN_MISSING,
        "patient_id, given_name, family_name",
    ),
    Row(
        "\n\npatient_id,given_name,family_name\n",
        3,
        "date_of_birth",
        Wrong.COLUMN_MISSING,
        "patient_id, given_name, family_name",
    ),
    Row(
        "patient_id,given_name,family_name,date_of_birth,Given Name\n",
        1,
        "given_name",
        Wrong.COLUMN_TWICE,
    ),
    Row(REGISTER + ANA + 'P2,"A,B,1980-01-01\nP3,A,B,\n', 3, "", Refusal.BROKEN_QUOTES),
    # --- a row
    Row(REGISTER + ANA + "P2,A,B\n", 3, "date_of_birth", Wrong.TOO_FEW_FIELDS, "3 of 4"),
    Row(REGISTER + ANA + "P2,A,B,1980-01-01,x\n", 3, "", Wrong.TOO_MANY_FIELDS, "5, not 4"),
    # --- ids
    Row(REGISTER + " ,A,B,1980-01-01\n", 2, "patient_id", Wrong.ID_MISSING),
    Row(REGISTER + "P 1,A,B,1980-01-01\n", 2, "patient_id", Wrong.ID_WITH_SPACE, "P 1"),
    Row(REGISTER + "P\u00a01,A,B,\n", 2, "patient_id", Wrong.ID_WITH_SPACE, "P\u00a01"),
    Row(REGISTER + ANA + " P1 ,Bo,Falk,\n", 3, "patient_id", Wrong.ID_TWICE, "P1", 2),
    Row(REGISTER + ANA + ANA, 3, "patient_id", Wrong.ID_TWICE, "P1", 2),
    # --- dates
    Row(REGISTER + "P1,A,B,12/05/1980\n", 2, "date_of_birth", Wrong.NOT_ISO, "12/05/1980"),
    Row(REGISTER + "P1,A,B,1980-5-1\n", 2, "date_of_birth", Wrong.NOT_ISO, "1980-5-1"),
    Row(
        REGISTER + "P1,A,B,1980-05-01T00:00\n",
        2,
        "date_of_birth",
        Wrong.NOT_ISO,
        "1980-05-01T00:00",
    ),
    Row(REGISTER + "P1,A,B,１９８０-05-01\n", 2, "date_of_birth", Wrong.NOT_ISO, "１９８０-05-01"),
    Row(REGISTER + "P1,A,B,1981-02-29\n", 2, "date_of_birth", Wrong.NO_SUCH_DAY, "1981-02-29"),
    Row(REGISTER + "P1,A,B,1900-02-29\n", 2, "date_of_birth", Wrong.NO_SUCH_DAY, "1900-02-29"),
    Row(REGISTER + "P1,A,B,2026-11-26\n", 2, "date_of_birth", Wrong.IN_THE_FUTURE, "2026-11-26"),
    Row(REGISTER + "P1,A,B,1889-12-31\n", 2, "date_of_birth", Wrong.TOO_EARLY, "1889-12-31"),
    # --- cells
    Row(REGISTER + "P1,A\0na,B,\n", 2, "given_name", Wrong.HAS_NUL),
    Row(REGISTER + f"P1,{'a' * 10_001},B,\n", 2, "given_name", Wrong.TOO_LONG, "10000"),
    # --- lines are those of the file, quotation marks or not
    Row(
        REGISTER + '"P0","An\nna","B",""\r\nP1,A,B,12.5.1980\n',
        4,
        "date_of_birth",
        Wrong.NOT_ISO,
        "12.5.1980",
    ),
    Row(
        REGISTER + 'P1,"A\n\nA","B\nB",12.5.1980\n',
        5,
        "date_of_birth",
        Wrong.NOT_ISO,
        "12.5.1980",
    ),
    Row(
        "Ward,Patient-ID,Given name,Family name,D.o.b.,Date of Birth\n1,P1,A,B,x,yesterday\n",
        2,
        "Date of Birth",
        Wrong.NOT_ISO,
        "yesterday",
    ),
]


@pytest.mark.parametrize("row", WRONG, ids=lambda row: f"{row.wrong}-{row.line}-{row.detail[:12]}")
def test_what_is_wrong_with_a_register(row: Row) -> None:
    assert problems(register=row.text) == (
        Problem(Part.REGISTER, row.line, row.column, row.wrong, row.detail, row.first_line),
    )


def test_a_day_that_is_today_and_a_leap_day_are_dates() -> None:
    rows = "P1,A,B,2026-11-25\nP2,A,B,2000-02-29\nP3,A,B,1890-01-01\n"
    assert len(read(REGISTER + rows).people) == 3


def test_not_even_a_claim_may_have_a_date_in_another_form() -> None:
    assert problems(claims=CLAIMS + "C1,A,B,30/02/1990\n") == (
        Problem(Part.CLAIMS, 2, "date_of_birth", Wrong.NOT_ISO, "30/02/1990"),
    )


def test_a_claim_id_may_have_spaces_and_stands_once() -> None:
    assert read(claims=CLAIMS + "no 1,A,B,\n").claims[0].claim_id == "no 1"
    assert problems(claims=CLAIMS + "C1,A,B,\n\nC1,A,B,\n") == (
        Problem(Part.CLAIMS, 4, "claim_id", Wrong.ID_TWICE, "C1", 2),
    )


def test_the_truth_names_claims_and_patients_of_the_files() -> None:
    assert problems(truth=TRUTH + "C1,P9\nC9,P1\nC1,\n,P1\n") == (
        Problem(Part.TRUTH, 2, "patient_id", Wrong.PATIENT_UNKNOWN, "P9"),
        Problem(Part.TRUTH, 3, "claim_id", Wrong.CLAIM_UNKNOWN, "C9"),
        Problem(Part.TRUTH, 4, "claim_id", Wrong.ID_TWICE, "C1", 2),
        Problem(Part.TRUTH, 5, "claim_id", Wrong.ID_MISSING),
    )


def test_everything_that_is_wrong_is_said_and_nothing_twice() -> None:
    """A row that is wrong is still there: the truth may name its id."""
    found = problems(
        register=REGISTER + "P1,A,B,never\nP2,A,B\nP 3,A,B,1999-99-99\n",
        claims=CLAIMS + "C1,A,B,soon\n",
        truth=TRUTH + "C1,P1\nC2,P2\n",
    )
    assert [(p.part, p.line, p.wrong) for p in found] == [
        (Part.REGISTER, 2, Wrong.NOT_ISO),
        (Part.REGISTER, 3, Wrong.TOO_FEW_FIELDS),
        (Part.REGISTER, 4, Wrong.ID_WITH_SPACE),
        (Part.REGISTER, 4, Wrong.NO_SUCH_DAY),
        (Part.CLAIMS, 2, Wrong.NOT_ISO),
        (Part.TRUTH, 3, Wrong.CLAIM_UNKNOWN),
    ]


def test_of_a_file_that_was_read_in_part_no_id_is_called_unknown() -> None:
    found = problems(
        register="patient_id,given_name,family_name\nP1,A,B\n", truth=TRUTH + "C1,P9\n"
    )
    assert [p.wrong for p in found] == [Wrong.COLUMN_MISSING]


def test_limits() -> None:
    rows = Limits(max_bytes=10**6, rows={Part.CLAIMS: 2})
    assert len(read(claims=CLAIMS + "1,A,B,\n2,A,B,\n\n", limits=rows).claims) == 2
    with pytest.raises(NotRehearsable) as refused:
        read(claims=CLAIMS + "1,A,B,\n2,A,B,\n3,A,B,\n4,A,B,\n", limits=rows)
    assert refused.value.problems == (Problem(Part.CLAIMS, 4, "", Wrong.TOO_MANY_ROWS, "2"),)
    with pytest.raises(NotRehearsable) as refused:
        read(limits=Limits(max_bytes=20, rows={}))
    assert [p.wrong for p in refused.value.problems] == [Refusal.TOO_MANY_BYTES] * 2
