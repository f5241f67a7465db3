"""What a clearance record says, as plain values: the same for every form in which it is written.

Codes are those of the rules and models; the words for people are added by whatever writes them.
Instants are aware, days are the programme's local calendar dates.
"""

from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from education.rules.quiz_way import Way


@dataclass(frozen=True)
class Name:
    """A former or preferred name."""

    kind: str
    given_names: str
    family_names: str


@dataclass(frozen=True)
class Person:
    """Who it is about; `also_mrns` are those of records that were merged into this one."""

    id: int
    mrn: str
    given_names: str
    family_names: str
    birth_date: date
    language: str
    other_names: tuple[Name, ...] = ()
    also_mrns: tuple[str, ...] = ()

    @property
    def full_name(self) -> str:
        return f"{self.given_names} {self.family_names}".strip()


@dataclass(frozen=True)
class Act:
    """Somebody did something, and why: taken back, revoked, agreed. `by` is empty for a rule."""

    at: datetime
    by: str
    reason: str = ""


@dataclass(frozen=True)
class Plan:
    """What was planned for an operation from an instant on."""

    at: datetime
    or_date: date | None
    booking: str
    procedure: str
    reason: str
    source: str
    by: str


@dataclass(frozen=True)
class Window:
    """The dates of an assignment from an instant on, and the OR date that they came from."""

    at: datetime
    or_date: date | None
    opens_on: date | None
    clear_by: date | None
    closed: bool


@dataclass(frozen=True)
class Invited:
    """A personal link: when it was written, when the email went out, and how the link ended.

    By another way: when the sheet was printed, the screen's code made, or the call begun.
    """

    id: int
    at: datetime
    by: str
    emailed_at: datetime | None
    ended_at: datetime | None
    ended_because: str
    way: str = Way.LINK


@dataclass(frozen=True)
class Begun:
    """An attempt at the quiz; `quiz_id` once it was handed in."""

    id: int
    at: datetime
    number: int
    quiz_id: int | None


@dataclass(frozen=True)
class Second:
    """What a second clinician said to a sign-off or waiver."""

    agrees: bool
    said: Act


@dataclass(frozen=True)
class Accepted:
    """A sign-off (of the clearance `clearance_id`) or a waiver (None), and what became of it."""

    id: int
    made: Act
    clearance_id: int | None
    needs_second: bool
    second: Second | None
    taken_back: Act | None


@dataclass(frozen=True)
class Required:
    """One module that an operation needs: the window, the standing on the day, and its trail."""

    id: int
    module: str
    title: str
    opens_days: int
    clear_by_days: int
    opens_on: date | None
    clear_by: date | None
    closed: bool
    standing: str
    reasons: tuple[str, ...]
    cleared_on: date | None
    rests_on: int | None  # the clearance's id
    windows: tuple[Window, ...]
    invitations: tuple[Invited, ...]
    attempts: tuple[Begun, ...]
    sign_offs: tuple[Accepted, ...]
    waivers: tuple[Accepted, ...]

    @property
    def before_operation(self) -> bool:
        """Whether it counts for confirming the OR date."""
        return self.clear_by_days <= 0


@dataclass(frozen=True)
class Confirmed:
    """An OR date confirmed, and what the rule said at that instant."""

    id: int
    made: Act
    or_date: date
    word: str
    reasons: tuple[str, ...]
    against_hold: bool
    clinician: str


@dataclass(frozen=True)
class PlannedOperation:
    """An operation as it was planned on the day, with everything before it."""

    id: int
    case_number: str
    procedure_code: str
    procedure: str
    surgeon: str
    facility: str
    or_date: date | None
    booking: str
    word: str
    holds: tuple[str, ...]
    plans: tuple[Plan, ...]
    required: tuple[Required, ...]
    confirmations: tuple[Confirmed, ...]


@dataclass(frozen=True)
class Decision:
    """Whose a quiz was said to be; `ours`: this patient's."""

    id: int
    at: datetime
    verdict: str
    ours: bool
    reasons: tuple[str, ...]
    note: str
    by: str


@dataclass(frozen=True)
class Answered:
    """One question as it was answered: option keys or a number, and the same in words.

    `key` is the question's, `name` that of the version which was asked. Of pairs `given` are the
    keys of what was chosen, and `parts` those of what it was chosen for.
    """

    key: str
    name: str
    given: tuple[str, ...]
    words: tuple[str, ...]
    right: bool
    parts: tuple[str, ...] = ()


@dataclass(frozen=True)
class Quiz:
    """A submission. What was typed and answered is kept out when it is not this patient's.

    `typed_by`: the member of staff who typed it, "" for the patient; `answered_on`: of a sheet of
    paper the day on which it was filled in.
    """

    id: int
    at: datetime
    day: date
    module: str
    edition: int
    language: str
    typed_name: str
    typed_birth_date: date | None
    right: int
    total: int
    pass_mark: int
    passed: bool
    missed_safety: tuple[str, ...]
    answers: tuple[Answered, ...]
    decisions: tuple[Decision, ...]
    way: str = Way.LINK
    typed_by: str = ""
    answered_on: date | None = None

    @property
    def ours(self) -> bool:
        """Whether the decision in force says that it is this patient's."""
        return bool(self.decisions) and self.decisions[-1].ours


@dataclass(frozen=True)
class Cleared:
    """A clearance, what it rests on, and whether it was revoked."""

    id: int
    made: Act
    module: str
    title: str
    edition: int
    cleared_on: date
    evidence: str
    quiz_id: int | None
    carried_from: str  # the MRN of the record that a merge carried it from
    revoked: Act | None


@dataclass(frozen=True)
class Contacted:
    """One attempt to reach the patient. `made`: who wrote it down, when; `made_at`: when it was.

    `corrected`: it was said later that it was another one, or none.
    """

    id: int
    made: Act
    means: str
    outcome: str
    made_at: datetime
    next_on: date | None = None
    corrected: Act | None = None


@dataclass(frozen=True)
class PointSaid:
    """One point of a teach-back; `understood` None: it was not gone through."""

    key: str
    name: str
    stem: str
    safety_critical: bool
    missed: bool
    asked: str
    said: str
    understood: bool | None


@dataclass(frozen=True)
class TaughtBack:
    """A teach-back, whatever came of it; `clearance_id` is the clearance that it is evidence of.

    `never`: it was said later that there was none.
    """

    id: int
    made: Act
    requirement_id: int
    module: str
    title: str
    edition: int
    means: str
    outcome: str
    next_on: date | None
    one_more_attempt: bool
    clearance_id: int | None
    points: tuple[PointSaid, ...]
    never: Act | None


@dataclass(frozen=True)
class Asked:
    """One version of a question of an edition; `options` are keys and texts.

    Of pairs `options` are what is asked, and `matches` what may be chosen for it.
    """

    key: str
    name: str
    kind: str
    stem: str
    unit: str
    safety_critical: bool
    always_asked: bool  # it is the only version
    options: tuple[tuple[str, str], ...]
    matches: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Beside:
    """A picture, video or captions that an edition shows beside its words.

    `file` is the SHA-256 of its content with its kind's end; `says` what it shows in words, empty
    for decoration.
    """

    section: str
    what: str
    says: str
    file: str


@dataclass(frozen=True)
class PublishedEdition:
    """An edition of a module that a quiz or clearance of this record was about."""

    module: str
    number: int
    title: str
    pass_mark: int
    at: datetime
    signed: Act | None  # by a clinician of the programme: None says that nobody has
    questions: tuple[Asked, ...]
    beside: tuple[Beside, ...] = ()


@dataclass(frozen=True)
class ClearanceRecord:
    """Everything. `on` is the day it stands on; `past` says that it is the end of an earlier day.

    `known_at` is the instant before which everything in it was recorded.
    """

    programme: str
    phone: str
    zone: ZoneInfo
    on: date
    past: bool
    made_at: datetime
    made_by: str
    person: Person
    operations: tuple[PlannedOperation, ...]
    quizzes: tuple[Quiz, ...]
    clearances: tuple[Cleared, ...]
    contacts: tuple[Contacted, ...]
    teach_backs: tuple[TaughtBack, ...]
    editions: tuple[PublishedEdition, ...]
