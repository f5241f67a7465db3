"""What scheduling messages say: a table of messages, with where each expectation comes from.

HL7-1 and HL7-2 are the published samples (tests/hl7_messages.py names them). Field meanings: HL7
2.5.1 chapters 2, 3 and 10; table 0278: terminology.hl7.org, CodeSystem v2-0278.
"""

import logging
import time
from contextlib import suppress
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from patients.rules.hl7_text import split_file
from patients.rules.message_reading import (
    MAX_MESSAGE_BYTES,
    Doubt,
    Event,
    Frame,
    MessageRefusal,
    NotTaken,
    Reading,
    Warn,
)
from patients.rules.schedule_known import KnownProcedure
from patients.rules.schedule_procedures import Procedures
from patients.rules.schedule_reasons import Reason
from patients.rules.schedule_rows import Plan, ScheduleRow, Unreadable
from patients.rules.siu import read_siu
from tests.hl7_messages import HL7_S13, VENDOR_S12, siu

CHICAGO = ZoneInfo("America/Chicago")
PROCEDURES = Procedures(
    [KnownProcedure(1, "SLV", "Sleeve gastrectomy"), KnownProcedure(2, "RYGB", "Gastric bypass")]
)


def read(content: bytes, on: date = date(2026, 6, 1)) -> Reading:
    return read_siu(content, Frame(CHICAGO, on, PROCEDURES))


def row(content: bytes) -> ScheduleRow:
    found = read(content).row
    assert isinstance(found, ScheduleRow), found
    return found


def problems(content: bytes) -> set[tuple[Reason, str]]:
    found = read(content).row
    assert isinstance(found, Unreadable)
    return {(one.reason, str(one.column)) for one in found.problems}


def doubts(reading: Reading) -> set[tuple[Doubt | Warn, str]]:
    return {(one.what, one.where) for one in reading.doubts}


def test_hl7_1_the_standards_own_s13() -> None:
    """Its fields are shifted: SCH-6 and 20 are missing, AIP-2 and AIL-2 hold what belongs in 3."""
    reading = read(HL7_S13, date(2007, 1, 4))
    assert (reading.event, reading.control_id) == (Event.MOVED, "021244SPOCARD")
    assert reading.sent_at == datetime(2007, 1, 4, 14, 0, tzinfo=UTC), "08:00 in Chicago"
    found = reading.row
    assert isinstance(found, ScheduleRow)
    assert found.case_number == "2007567^SCH100"
    assert found.or_date == date(2007, 1, 9)
    assert (found.mrn, found.birth_date) == ("484848", date(1940, 11, 21))
    assert (found.given_names, found.family_names) == ("One", "Test"), "an initial is left out"
    assert (found.surgeon, found.facility, found.procedure) == ("", "", "")
    assert {where for what, where in doubts(reading) if what == Doubt.REQUIRED_MISSING} == {
        "SCH-6",
        "SCH-20",
    }
    assert (Doubt.SHIFTED, "AIP-2") in doubts(reading)
    assert [(w.what, w.where) for w in reading.warnings] == [(Warn.STATUS_MISSING, "SCH-25")]


def test_hl7_2_two_dates_set_none() -> None:
    reading = read(VENDOR_S12, date(2011, 6, 13))
    found = reading.row
    assert isinstance(found, ScheduleRow)
    assert found.or_date is None
    assert found.keeps_date, "the date on record is not taken away either"
    assert [(said.where, said.day) for said in reading.dates] == [
        ("SCH-11.4", date(2011, 6, 17)),
        ("AIL-6", date(2011, 6, 14)),
        ("AIP-6", date(2011, 6, 14)),
    ]
    assert doubts(reading) == {(Doubt.DATES_DIFFER, "SCH-11.4, AIL-6, AIP-6")}
    assert [w.what for w in reading.warnings] == [Warn.STATUS_NOT_IN_TABLE], "Scheduled"


def test_a_message_that_is_right_says_everything() -> None:
    reading = read(siu())
    assert reading.doubts == reading.warnings == ()
    found = row(siu())
    assert (found.mrn, found.given_names, found.family_names) == ("M1", "Tobias", "Quill")
    assert (found.birth_date, found.or_date) == (date(1980, 2, 3), date(2026, 8, 12))
    assert (found.procedure_code, found.procedure) == ("SLV", "Sleeve gastrectomy")
    assert (found.surgeon, found.facility) == ("Dr Ottoline Brask", "Larkfield East")
    assert (found.phone, found.email, found.language) == ("3125550101", "quill@example.org", "en")
    assert (found.plan, found.case_number) == (Plan.SCHEDULED, "C1^OR")
    assert reading.other_case_numbers == ("C1",), "a file writes it without its namespace"


@pytest.mark.parametrize(
    ("trigger", "status", "plan", "doubt"),
    [
        ("S12", "BOOKED", Plan.SCHEDULED, None),  # the case changed between versions
        ("S12", "booked", Plan.SCHEDULED, None),
        ("S13", "Overbook", Plan.SCHEDULED, None),
        ("S14", "Waitlist", Plan.ON_HOLD, None),
        ("S14", "Complete", Plan.DONE, None),
        ("S15", "Cancelled", Plan.CANCELLED, None),
        ("S17", "Deleted", Plan.CANCELLED, None),
        ("S15", "", Plan.CANCELLED, None),
        ("S12", "Cancelled", None, Doubt.STATUS_CONTRADICTS),
        ("S15", "Booked", None, Doubt.STATUS_CONTRADICTS),
        ("S13", "Complete", None, Doubt.STATUS_CONTRADICTS),
        ("S14", "Dc", None, Doubt.STATUS_UNKNOWN),
        ("S12", "Blocked", None, Doubt.STATUS_UNKNOWN),
        ("S14", "Perhaps", None, Doubt.STATUS_UNKNOWN),
        ("S14", "Noshow", None, Doubt.DID_NOT_COME),
        ("S26", "Noshow", None, Doubt.DID_NOT_COME),
        ("S26", "", None, Doubt.DID_NOT_COME),
    ],
)
def test_the_event_and_the_status(
    trigger: str, status: str, plan: Plan | None, doubt: Doubt | None
) -> None:
    reading = read(siu(trigger, status=status))
    assert isinstance(reading.row, ScheduleRow)
    assert reading.row.plan == plan
    assert [one.what for one in reading.doubts] == ([doubt] if doubt else [])


def test_did_not_come_says_no_date() -> None:
    found = row(siu("S26", status="Noshow"))
    assert (found.or_date, found.keeps_date) == (None, True)


@pytest.mark.parametrize(
    ("start", "sent", "day", "doubt"),
    [
        ("202608120030", "20260601100000", date(2026, 8, 12), None),  # local
        ("202608120030-0500", "20260601100000", date(2026, 8, 12), None),
        ("202608120030+0000", "20260601100000", date(2026, 8, 11), None),  # 19:30 in Chicago
        ("202608112330-0700", "20260601100000", date(2026, 8, 12), None),
        ("20260812", "20260601100000+0000", date(2026, 8, 12), None),  # a day has no zone
        ("202608120800", "20260601100000+0000", date(2026, 8, 12), None),
        # By MSH-7's offset it would be the evening before (chapter 2, section 2.15.9.7).
        ("202608120030", "20260601100000+0000", date(2026, 8, 12), Doubt.ZONE_UNCLEAR),
        # Chicago's clocks go forward on 8 March 2026 and back on 1 November.
        ("202603080230", "20260101100000", date(2026, 3, 8), None),
        ("202611012330-0600", "20260101100000", date(2026, 11, 1), None),
        ("202611020430+0000", "20260101100000", date(2026, 11, 1), None),
    ],
)
def test_the_day_is_the_programmes(start: str, sent: str, day: date, doubt: Doubt | None) -> None:
    message = siu(sent=sent, on="", replaced={"^^60^": f"^^60^{start}"})
    assert row(message).or_date == day
    assert [one.what for one in read(message).doubts] == ([doubt] if doubt else [])


@pytest.mark.parametrize(
    ("written", "reason"),
    [
        ("202602300800", Reason.NO_SUCH_DAY),
        ("2026", Reason.DATE_UNREADABLE),
        ("202608122500", Reason.NO_SUCH_DAY),
        ("12.8.2026", Reason.DATE_UNREADABLE),
        ("204908120800", Reason.IMPOSSIBLE_YEAR),
        ("202608120800+9900", Reason.DATE_UNREADABLE),
    ],
)
def test_a_date_that_is_none(written: str, reason: Reason) -> None:
    assert problems(siu(on="", replaced={"^^60^": f"^^60^{written}"})) == {(reason, "SCH-11.4")}


def test_without_a_date_a_booking_is_in_doubt_and_a_cancellation_is_not() -> None:
    assert [one.what for one in read(siu("S14", on="")).doubts] == [Doubt.NO_DATE]
    assert read(siu("S15", on="", status="Cancelled")).doubts == ()


@pytest.mark.parametrize(
    ("sent", "instant"),
    [
        ("20260601100000", datetime(2026, 6, 1, 15, tzinfo=UTC)),
        ("202606011000", datetime(2026, 6, 1, 15, tzinfo=UTC)),
        ("20260601100000.1234+0200", datetime(2026, 6, 1, 8, tzinfo=UTC)),
        ("20260601", None),  # a day is no instant
        ("202611010130", None),  # comes twice in the night in which clocks go back
        ("202611010130-0600", datetime(2026, 11, 1, 7, 30, tzinfo=UTC)),
        ("", None),
    ],
)
def test_when_it_was_sent(sent: str, instant: datetime | None) -> None:
    reading = read(siu(sent=sent))
    assert reading.sent_at == instant
    assert ((Doubt.NO_SEND_TIME, "MSH-7") in doubts(reading)) is (instant is None)


@pytest.mark.parametrize(
    ("replaced", "expected"),
    [
        ({"M1^^^LARK^MR": ""}, (Reason.MISSING, "PID-3")),
        ({"M1^^^LARK^MR": '""'}, (Reason.MISSING, "PID-3")),  # the standard's "delete this"
        ({"19800203": ""}, (Reason.MISSING, "PID-7")),
        ({"19800203": "20990101"}, (Reason.BORN_IN_FUTURE, "PID-7")),
        ({"Quill^Tobias": ""}, (Reason.MISSING, "PID-5")),
        ({"Quill^Tobias": "Quill^" + "x" * 10_000}, (Reason.TOO_LONG, "PID-5")),  # fault 27
        ({"Quill^Tobias": "Quill^To\x00bias"}, (Reason.HAS_NUL, "PID-5")),
        ({"Quill^Tobias": "Quill^To‮bias"}, (Reason.HIDDEN_DIRECTION, "PID-5")),
        ({"Quill^Tobias": r"Quill^To\X0D\bias"}, (Reason.LINE_BREAK, "PID-5")),
        ({"C1^OR": ""}, (Reason.MISSING, "SCH-2")),
        ({"C1^OR": "C" * 41}, (Reason.TOO_LONG, "SCH-2")),
        ({"RGS|1": "PID|2||M2||Other^Ana||19700101\rRGS|1"}, (Reason.SEVERAL_PATIENTS, "PID")),
    ],
)
def test_what_cannot_be_read_names_its_field(
    replaced: dict[str, str], expected: tuple[Reason, str]
) -> None:
    assert problems(siu(replaced=replaced)) == {expected}


@pytest.mark.parametrize(
    ("written", "given", "family"),
    [
        (r"O\T\Neill^Ana\S\B", "Ana^B", "O&Neill"),  # HL7 delimiters in a name (fault 27)
        (r"A\F\B^C\R\D\E\E", "C~D\\E", "A|B"),
        ("<b>Quill</b>^Ana", "Ana", "<b>Quill</b>"),
        ("=Quill^Ana", "Ana", "=Quill"),
        ("QUILL^ANA MARIA^J.^JR", "Ana Maria", "Quill Jr"),
        ("Quill^Ana^Maria", "Ana Maria", "Quill"),
        ("García-López&de^Ana", "Ana", "García-López"),
        ("^Ana", "Ana", ""),
        ("Madonna", "Madonna", ""),
        ("Maiden^Ana^^^^^M~Quill^Ana^^^^^L", "Ana", "Quill"),  # the legal one (table 0200)
    ],
)
def test_names_come_through(written: str, given: str, family: str) -> None:
    found = row(siu(replaced={"Quill^Tobias": written}))
    assert (found.given_names, found.family_names) == (given, family)


@pytest.mark.parametrize(
    ("encoding", "named", "guessed"),
    [
        ("utf-8", "UNICODE UTF-8", False),
        ("utf-8", "", False),
        ("iso-8859-1", "8859/1", False),
        ("cp1252", "WINDOWS-1252", False),
        ("cp1252", "", True),
    ],
)
def test_character_sets(encoding: str, named: str, guessed: bool) -> None:
    text = siu(name="Muñoz^José", replaced={"UNICODE UTF-8": named}).decode()
    reading = read(text.encode(encoding))
    assert isinstance(reading.row, ScheduleRow)
    assert reading.row.family_names == "Muñoz"
    assert [w.what for w in reading.warnings] == [Warn.CHARACTER_SET_GUESSED] * guessed


def test_delimiters_are_those_of_the_message() -> None:
    """MSH-1 and MSH-2 may name any (chapter 2, section 2.5.4); line ends are met in all forms."""
    swapped = siu().decode().translate(str.maketrans("|^~\\&", "!:*/%"))
    assert row(swapped.encode()) == row(siu())
    for ending in (b"\n", b"\r\n", b"\r\r"):
        assert row(siu().replace(b"\r", ending)) == row(siu())
    assert row(b"\x0b" + siu() + b"\x1c\r") == row(siu()), "the framing of MLLP in a file"


@pytest.mark.parametrize(
    ("replaced", "refusal"),
    [
        ({"SIU^S12": "ADT^A01"}, MessageRefusal.WRONG_TYPE),
        ({"SIU^S12": "SIU^S18"}, MessageRefusal.WRONG_EVENT),
        ({"|P|": "|T|"}, MessageRefusal.NOT_PRODUCTION),
        ({"|2.5.1|": "|3.0|"}, MessageRefusal.WRONG_VERSION),
        ({"|1|P|": "||P|"}, MessageRefusal.NO_CONTROL_ID),
        ({r"|^~\&|": "|^^^^|"}, MessageRefusal.NOT_A_MESSAGE),
        ({"MSH|": "MSHX"}, MessageRefusal.NOT_A_MESSAGE),
        ({"RGS|1": "a line that a break has torn off"}, MessageRefusal.NOT_A_MESSAGE),
        ({"UNICODE UTF-8": "ISO IR87", "Quill": "Quíll"}, MessageRefusal.CHARACTER_SET),
        ({"UNICODE UTF-8": "ASCII", "Quill": "Quíll"}, MessageRefusal.CHARACTER_SET),
    ],
)
def test_what_is_no_message_for_us(replaced: dict[str, str], refusal: MessageRefusal) -> None:
    with pytest.raises(NotTaken) as refused:
        read(siu(replaced=replaced))
    assert refused.value.refusal == refusal


@pytest.mark.parametrize("sign", ["|", "^", "~", "&", "\\", "\\X00\\", "x"])
def test_however_large_it_is_the_answer_is_quick(sign: str) -> None:
    """A message that is all delimiters would take the parser seconds (T6: 500 ms)."""
    message = siu(phone=sign * (200_000 // len(sign)))
    started = time.process_time()
    with suppress(NotTaken):
        read(message)
    assert time.process_time() - started < 0.5
    with pytest.raises(NotTaken):
        read(siu(phone="1" * MAX_MESSAGE_BYTES))


def test_nothing_of_a_patient_is_logged(caplog: pytest.LogCaptureFixture) -> None:
    """The parsing library logs what it cannot unescape, with the field (promise T3)."""
    with caplog.at_level(logging.DEBUG):
        row(siu(name=r"Quill\Zz\^Tobias\\", replaced={}))
    assert "Quill" not in caplog.text


@pytest.mark.parametrize(
    ("replaced", "surgeon", "facility", "procedure"),
    [
        ({"|surgeon|": "||"}, "Dr Ottoline Brask", "Larkfield East", "SLV"),
        ({"AIP|1|A|": "AIP|1|D|"}, "", "Larkfield East", "SLV"),  # taken away (table 0206)
        (
            {"RGS|1": "RGS|1\rAIP|9|A|8^Imrie^Hale|nurse"},
            "Dr Ottoline Brask",
            "Larkfield East",
            "SLV",
        ),
        ({"OR1^^^Larkfield East": "OR1"}, "Dr Ottoline Brask", "OR1", "SLV"),
        ({"SLV^Sleeve gastrectomy": "rygb"}, "Dr Ottoline Brask", "Larkfield East", "rygb"),
        ({"7^Brask": "7^B\x07rask"}, "", "Larkfield East", "SLV"),  # left out, with a warning
    ],
)
def test_surgeon_facility_and_procedure(
    replaced: dict[str, str], surgeon: str, facility: str, procedure: str
) -> None:
    found = row(siu(replaced=replaced))
    assert (found.surgeon, found.facility, found.procedure_code) == (surgeon, facility, procedure)


def test_several_procedures_of_ours_are_in_doubt_and_others_are_not() -> None:
    second = {"RGS|1": "RGS|1\rAIS|2|A|RYGB^Gastric bypass"}
    assert [d.what for d in read(siu(replaced=second)).doubts] == [Doubt.SEVERAL_PROCEDURES]
    other = {"RGS|1": "RGS|1\rAIS|2|A|XR^X-ray of the chest"}
    assert row(siu(replaced=other)).procedure_code == "SLV"


def test_a_file_with_many_messages() -> None:
    """The batch protocol (chapter 2, section 2.10.3), and messages one after another."""
    one, two = siu(), siu("S13", control_id="2")
    batch = b"FHS|^~\\&\rBHS|^~\\&\r" + one + two + b"BTS|2\rFTS|1\r"
    assert [part.line for part in split_file(batch)] == [3, 10]
    assert [read(part.content).control_id for part in split_file(batch)] == ["1", "2"]
    assert len(split_file(one + b"\r\n" + two)) == 2
    with pytest.raises(NotTaken) as cut:
        split_file(batch.replace(b"BTS|2", b"BTS|3"))
    assert cut.value.refusal == MessageRefusal.COUNT_DIFFERS
    for nothing in (b"", b"\r\r", b"PID|1\r" + one):
        with pytest.raises(NotTaken):
            split_file(nothing)
