"""The rehearsal's command: files in, decisions out, and no database anywhere.

Nothing here asks for one, so that any query would fail the test.
"""

import csv
import os
import subprocess
import sys
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from clinic.rehearsal_words import share
from patients.rules.identity import Policy

ROOT = Path(__file__).resolve().parent.parent.parent
REGISTER = """\
patient_id,given_name,family_name,date_of_birth
P1,Ana,Ruiz,1980-03-12
P2,Leopold,Falkenrath,1975-11-30
P3,Tess,Nakamura,1991-02-03
P4,Tess,Nakamura,1991-02-03
P5,Surya,,
"""
CLAIMS = """\
claim_id,given_name,family_name,date_of_birth
c9,Ana,Ruiz,1980-03-12
c1,Leopold,Falkenrath,1957-11-30
c5,Tess,Nakamura,1991-02-03
c2,Ottoline,Zwart,1960-06-06
c3,Leopold,Falkenrath,1975-02-30
c4,,,
"""
TRUTH = """\
claim_id,patient_id
c9,P1
c1,P2
c5,P4
c2,
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with the three files."""
    for name, text in (("register", REGISTER), ("claims", CLAIMS), ("truth", TRUTH)):
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    return tmp_path


def rehearse(folder: Path, *more: str, truth: bool = False) -> str:
    """Run the command; return what it says."""
    parts = ("register", "claims", *(["truth"] if truth else []))
    options = [f"--{part}={folder / part}.csv" for part in parts]
    said = StringIO()
    call_command("rehearse_matching", *options, f"--out={folder / 'out.csv'}", *more, stdout=said)
    return said.getvalue()


def decisions(folder: Path) -> list[dict[str, str]]:
    with (folder / "out.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def refused(folder: Path, **options: bool) -> list[str]:
    """Run the command on files that are wrong; return what it says, line by line."""
    with pytest.raises(CommandError) as error:
        rehearse(folder, **options)
    assert not list(folder.glob("*out.csv*")), "nothing is written, in whole or in part"
    return str(error.value).splitlines()


def test_one_decision_for_each_claim_in_the_order_of_the_claims(folder: Path) -> None:
    rehearse(folder)
    first = (folder / "out.csv").read_bytes().split(b"\r\n")[0]
    assert first == b"claim_id,decision,patient_id,candidates,reasons"
    rows = decisions(folder)
    assert [(r["claim_id"], r["decision"], r["patient_id"]) for r in rows] == [
        ("c9", "auto", "P1"),
        ("c1", "review", ""),
        ("c5", "review", ""),
        ("c2", "none", ""),
        ("c3", "review", ""),
        ("c4", "none", ""),
    ]
    assert rows[0]["candidates"].split(" ")[0] == "P1"
    assert rows[1]["candidates"].split(" ")[0] == "P2"
    assert set(rows[2]["candidates"].split(" ")) >= {"P3", "P4"}


def test_the_reasons_are_words(folder: Path) -> None:
    rehearse(folder)
    said = {row["claim_id"]: row["reasons"] for row in decisions(folder)}
    assert said["c9"] == "date of birth equal; name equal"
    assert said["c5"] == "more than one patient fits; date of birth equal; name equal"
    assert said["c2"] == "nobody fits in both name and date of birth"
    assert said["c3"].startswith("no calendar has the typed date of birth; ")


def test_the_summary_says_how_many(folder: Path) -> None:
    said = rehearse(folder)
    assert (
        "Of 6 claims, 1 would be matched without a person (16.67 %), 3 would go to a person "
        "(50 %), and 2 come near nobody (33.33 %)." in said
    )
    assert "1 patient has no date of birth: never matched without a person." in said
    assert "1 claim has no date of birth: never matched without a person." in said
    assert "False" not in said


def test_the_summary_with_the_truth(folder: Path) -> None:
    said = rehearse(folder, truth=True)
    assert "False automatic accepts: 0 (of 1 automatic match)." in said
    assert "Automatic share: 25 % (1 of 4) of claims with a known truth; 33.33 % (1 of 3)" in said
    assert "Right patient in the first three: 100 % (3 of 3) of claims of patients" in said
    assert "The truth is not given for 2 claims: not judged." in said


def test_a_false_accept_is_named_with_a_warning(folder: Path) -> None:
    (folder / "truth.csv").write_text("claim_id,patient_id\nc9,P2\n")
    said = rehearse(folder, truth=True)
    assert "False automatic accepts: 1 (of 1 automatic match). Warning: " in said
    assert "Claims: c9." in said
    (folder / "truth.csv").write_text("claim_id,patient_id\nc9,\n")
    assert "Claims: c9." in rehearse(folder, truth=True), "matched, and was nobody on the register"


def test_of_many_false_accepts_twenty_are_named(folder: Path) -> None:
    people = [f"{n},Q{chr(97 + n)}z,Falkenrath{n},19{50 + n}-03-0{n % 9 + 1}" for n in range(25)]
    for name, ids in (("register", "patient_id"), ("claims", "claim_id")):
        header = f"{ids},given_name,family_name,date_of_birth\n"
        (folder / f"{name}.csv").write_text(header + "\n".join(people))
    (folder / "truth.csv").write_text(
        "claim_id,patient_id\n" + "\n".join(f"{n}," for n in range(25))
    )
    said = rehearse(folder, truth=True)
    assert "False automatic accepts: 25 (of 25 automatic matches)." in said
    assert "Claims: 0, 1, 2, 3, 4, " in said
    assert " 19 and 5 more." in said


@pytest.mark.parametrize("policy", [Policy.PERSONAL_LINK_ONLY, Policy.NEVER])
def test_without_links_the_other_settings_match_nothing(folder: Path, policy: Policy) -> None:
    said = rehearse(folder, f"--policy={policy}")
    assert "0 would be matched without a person" in said
    assert "nothing is matched without a person" in said
    row = decisions(folder)[0]
    assert (row["decision"], row["candidates"].split(" ")[0]) == ("review", "P1")
    assert row["reasons"].startswith("the programme does not match this without a person; ")


def test_the_same_files_give_the_same_bytes_in_any_order_of_the_register(folder: Path) -> None:
    rehearse(folder)
    first = (folder / "out.csv").read_bytes()
    header, *rows = REGISTER.splitlines()
    (folder / "register.csv").write_text("\n".join([header, *reversed(rows)]))
    rehearse(folder)
    assert (folder / "out.csv").read_bytes() == first


def test_everything_that_is_wrong_is_said_by_file_line_and_column(folder: Path) -> None:
    (folder / "register.csv").write_text(REGISTER + "P1,Bo,Falk,12/05/1980\nP7,Bo\n")
    (folder / "truth.csv").write_text(TRUTH + "c77,P1\n")
    said = refused(folder, truth=True)
    register, truth = folder / "register.csv", folder / "truth.csv"
    assert said[0] == "4 things are wrong with the files. Nothing was written."
    assert said[1].endswith(
        f"{register}, line 7, column patient_id: “P1” stands on line 2 already. Each "
        "id may stand there once: remove one of the rows, or correct its id."
    )
    assert said[2].endswith(
        "line 7, column date_of_birth: “12/05/1980” is not a date in ISO form. Write "
        "year-month-day, like 1980-02-29, or leave the cell empty."
    )
    assert "line 8, column family_name: the row has 2 of 4 fields of the header" in said[3]
    assert said[4].startswith(f"{truth}, line 6, column claim_id: there is no claim")


def test_of_many_problems_twenty_are_shown_and_all_are_counted(folder: Path) -> None:
    rows = "".join(f"P{n},A,B,1980-02-30\n" for n in range(10, 1510))
    (folder / "register.csv").write_text(REGISTER + rows)
    said = refused(folder)
    assert said[0].startswith("1,500 things are wrong")
    assert len(said) == 22
    assert said[-1] == "... and 1,480 more."


def test_a_missing_column_and_an_empty_file(folder: Path) -> None:
    (folder / "register.csv").write_text("patient_id,given_name,family_name\nP1,A,B\n")
    (folder / "claims.csv").write_text("")
    said = refused(folder)
    assert ", line 1, column date_of_birth: this column is needed and was not found" in said[1]
    assert said[2].endswith("claims.csv: the file is empty. Save it as CSV in the encoding UTF-8.")


def test_files_with_a_header_only_are_refused(folder: Path) -> None:
    for name, text in (("register", REGISTER), ("claims", CLAIMS)):
        (folder / f"{name}.csv").write_text(text.splitlines()[0] + "\n")
    said = refused(folder, truth=True)
    assert said[1] == (
        f"{folder / 'register.csv'}, line 1: the file has no patients in it; there is only the "
        "header. Put each patient of the register on a line of its own."
    )
    assert said[2] == (
        f"{folder / 'claims.csv'}, line 1: the file has no claims in it; there is only the "
        "header. Put each claim on a line of its own."
    )
    assert len(said) == 3, "and nothing about each line of the truth"


def test_what_stood_in_the_place_of_the_decisions_stays_when_something_is_wrong(
    folder: Path,
) -> None:
    out = folder / "out.csv"
    out.write_text("of yesterday")
    (folder / "claims.csv").write_text(CLAIMS + "c9,twice,,\n")
    with pytest.raises(CommandError):
        rehearse(folder)
    assert out.read_text() == "of yesterday"
    (folder / "claims.csv").write_text(CLAIMS)
    rehearse(folder)
    assert out.read_text().startswith("claim_id,")


def test_a_disk_that_is_full_leaves_no_half_of_a_file(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*args: object) -> Path:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    assert refused(folder)[0].endswith("cannot be written: No space left on device.")


def test_where_the_decisions_cannot_go(folder: Path) -> None:
    for out, words in (
        ("claims.csv", "is one of the files that are read"),
        (".", "is not a file that can be replaced"),
        ("nowhere/out.csv", "Nothing can be written in"),
    ):
        with pytest.raises(CommandError, match=words):
            rehearse(folder, f"--out={folder / out}")
    assert (folder / "claims.csv").read_text() == CLAIMS


def test_a_file_that_is_not_there(folder: Path) -> None:
    (folder / "claims.csv").unlink()
    assert refused(folder) == [
        f"{folder / 'claims.csv'} cannot be read: No such file or directory."
    ]


def test_t5_no_cell_is_a_formula_and_ids_come_back(folder: Path) -> None:
    """The readers take away what made an id safe: the file's ids are the register's again."""
    ids = ["=1+1", "+1", "-2+3", "@x", "'=4", "＝5", "-7"]
    person = "Q{n}z,Falkenrath{n},1980-03-0{n}"
    rows = [f'"{one}",{person.format(n=n)}' for n, one in enumerate(ids, start=1)]
    for name, column in (("register", "patient_id"), ("claims", "claim_id")):
        text = "\n".join([f"{column},given_name,family_name,date_of_birth", *rows])
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    (folder / "truth.csv").write_text(
        "\n".join(["claim_id,patient_id", *(f'"{one}","{one}"' for one in ids)]), encoding="utf-8"
    )
    rehearse(folder, truth=True)
    written = decisions(folder)
    for row in written:
        assert all(cell[:1] not in tuple("=+-@\t\r＝＋－＠") or not cell for cell in row.values())
        assert row["decision"] == "auto"
        assert row["claim_id"] == row["patient_id"]
    # The decisions' own ids, as they stand there, are a truth file that fits.
    (folder / "truth.csv").write_text(
        "\n".join(
            ["claim_id,patient_id", *(f'"{r["claim_id"]}","{r["patient_id"]}"' for r in written)]
        ),
        encoding="utf-8",
    )
    assert "Automatic share: 100 % (7 of 7)" in rehearse(folder, truth=True)


def test_it_runs_where_there_is_no_database(folder: Path) -> None:
    """As a person runs it, with a database that is not there (and would be asked over a socket)."""
    environment = os.environ | {
        "CLINIC_DATA_DIR": str(folder / "data"),
        "DATABASE_URL": "postgresql://nobody@127.0.0.1:9/none",
        "DJANGO_SETTINGS_MODULE": "clinic.settings",
    }
    files = [f"--{part}={folder / part}.csv" for part in ("register", "claims", "out")]
    command = [sys.executable, str(ROOT / "manage.py"), "rehearse_matching", *files]
    ended = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    assert (ended.returncode, ended.stderr) == (0, "")
    assert len(decisions(folder)) == 6
    (folder / "claims.csv").write_text("claim_id\n1\n")
    ended = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    assert ended.returncode == 1
    assert "column given_name: this column is needed" in ended.stderr
    del environment["DATABASE_URL"]
    subprocess.run(command, env=environment, capture_output=True, check=False)
    assert not list((folder / "data").glob("*.sqlite3"))


@pytest.mark.parametrize(
    "part, whole, words",
    [
        (0, 7, "0 % (0 of 7)"),
        (7, 7, "100 % (7 of 7)"),
        (1, 1_000_000, "0.01 % (1 of 1,000,000)"),
        (999_999, 1_000_000, "99.99 % (999,999 of 1,000,000)"),
        (1, 3, "33.33 % (1 of 3)"),
        (0, 0, "no share (0 of 0)"),
    ],
)
def test_a_share_never_says_all_or_none_of_a_part(part: int, whole: int, words: str) -> None:
    assert share(part, whole) == words
