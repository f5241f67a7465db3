"""What does a schedule message say of one operation?  One typed reading, whatever its format.

A reader of a format (patients/message_readers.py lists them) makes readings and nothing else: what
becomes of one is decided in patients/rules/intake.py, and written by patients/intake.py.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from zoneinfo import ZoneInfo

from patients.rules.message_formats import MessageFormat
from patients.rules.schedule_procedures import NOTHING_SAID, Meant, Procedures
from patients.rules.schedule_reading import sender_key
from patients.rules.schedule_rows import ScheduleRow, Unreadable

# Far above what a scheduling message needs; a longer one is not read at all.
MAX_MESSAGE_BYTES = 256 * 1024


class Event(StrEnum):
    """What the sender says has happened."""

    BOOKED = "booked"
    MOVED = "moved"
    CHANGED = "changed"
    CANCELLED = "cancelled"
    DELETED = "deleted"
    DID_NOT_COME = "did_not_come"

    @property
    def ends(self) -> bool:
        """Whether the operation is off."""
        return self in (Event.CANCELLED, Event.DELETED)


class Doubt(StrEnum):
    """Why a message is not taken without a person."""

    # What it says
    DATES_DIFFER = "dates_differ"
    NO_DATE = "no_date"
    ZONE_UNCLEAR = "zone_unclear"
    DID_NOT_COME = "did_not_come"
    STATUS_CONTRADICTS = "status_contradicts"
    STATUS_UNKNOWN = "status_unknown"
    REQUIRED_MISSING = "required_missing"
    SHIFTED = "shifted"
    SEVERAL_PROCEDURES = "several_procedures"
    NO_SEND_TIME = "no_send_time"
    SENT_IN_FUTURE = "sent_in_future"
    # What is on record
    SAME_TIME = "same_time"
    CHANGED_HERE_SINCE = "changed_here_since"
    WORTH_A_LOOK = "worth_a_look"


class Warn(StrEnum):
    """What is worth saying about a message, and keeps nothing from being taken."""

    STATUS_MISSING = "status_missing"
    STATUS_NOT_IN_TABLE = "status_not_in_table"
    NOT_TAKEN = "not_taken"
    CHARACTER_SET_GUESSED = "character_set_guessed"
    SEVERAL_PEOPLE = "several_people"


class MessageRefusal(StrEnum):
    """Why a message is not a schedule message that can be kept."""

    TOO_LONG = "too_long"
    NOT_A_MESSAGE = "not_a_message"
    NO_CONTROL_ID = "no_control_id"
    CHARACTER_SET = "character_set"
    WRONG_TYPE = "wrong_type"
    WRONG_EVENT = "wrong_event"
    WRONG_VERSION = "wrong_version"
    NOT_PRODUCTION = "not_production"
    COUNT_DIFFERS = "count_differs"
    # A bundle
    XML = "xml"
    NOT_JSON = "not_json"
    NAME_TWICE = "name_twice"
    TOO_DEEP = "too_deep"
    TOO_MANY_ENTRIES = "too_many_entries"
    WRONG_RESOURCE = "wrong_resource"
    NO_OPERATION = "no_operation"


class NotTaken(Exception):
    """It is not kept: `where` in the message, and what else to say."""

    def __init__(self, refusal: MessageRefusal, where: str = "", detail: str = "") -> None:
        super().__init__(refusal.value)  # no facts: this text may reach a log
        self.refusal, self.where, self.detail = refusal, where, detail


@dataclass(frozen=True)
class Noted:
    """A doubt or a warning: where in the message, and what else to say."""

    what: Doubt | Warn
    where: str = ""
    detail: str = ""


@dataclass(frozen=True)
class SaidDate:
    """One place of a message that gives the operation's date; `day` is local."""

    where: str
    day: date


@dataclass(frozen=True)
class Reading:
    """What one message says of one operation.

    `row` is what a line of a schedule would say, or every reason why it cannot be read. Its
    `or_date` is None when `dates` disagree. `case_number` in the row names the operation;
    `other_case_numbers` are further names under which it may be on record. `meant` is what somebody
    said that this sender's names of procedures mean.
    """

    format: MessageFormat
    sender: str
    control_id: str
    trigger: str
    event: Event
    sent_at: datetime | None
    row: ScheduleRow | Unreadable
    dates: tuple[SaidDate, ...] = ()
    other_case_numbers: tuple[str, ...] = ()
    doubts: tuple[Noted, ...] = ()
    warnings: tuple[Noted, ...] = ()
    meant: Meant = field(default_factory=dict, repr=False)


@dataclass(frozen=True)
class Frame:
    """What a reader has to know of the programme and of the day.

    `procedures` are the programme's; `line` is where the message stands in its file. `said`: what
    somebody said that names of procedures mean, by sender (schedule_reading.sender_key).
    """

    zone: ZoneInfo
    on: date
    procedures: Procedures
    line: int = 1
    said: Mapping[str, Meant] = field(default_factory=dict)

    def meant(self, format: MessageFormat, sender: str) -> Meant:
        """Return what was said of the words of one sender."""
        return self.said.get(sender_key(format, sender), NOTHING_SAID)


@dataclass(frozen=True)
class Part:
    """One message of a file: the line on which it begins, and its bytes."""

    line: int
    content: bytes
