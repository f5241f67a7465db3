"""What is on record about assignments, as it is or as it was known before an instant.

One statement reads all of it, however many assignments and however large the tables. Each of its
parts begins with the assignments or the patients that are asked about and goes on by keys, and
gives its rows as JSON, because parts of one statement must have the same columns.
"""

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from enum import StrEnum
from itertools import groupby
from typing import Any, NamedTuple

from django.db.models import (
    Case,
    CharField,
    DateTimeField,
    Exists,
    F,
    IntegerField,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    TextField,
    Value,
    When,
)
from django.db.models.functions import JSONArray

from education.models import (
    MATCHED,
    Clearance,
    Edition,
    EndedBecause,
    IdentityDecision,
    IdentityVerdict,
    Invitation,
    InvitationEnd,
    InvitationToken,
    Revocation,
    SignOff,
    Submission,
    TeachBack,
    Waiver,
)
from education.rules.quiz_way import Way
from education.rules.scoring import PastAttempt
from patients.models import ContactCorrection, Patient, Programme, latest_first
from patients.prepared import Given, GivenIds, prepared

Owner = tuple[int, int]  # patient id, module id
NOW = datetime(9999, 1, 1, tzinfo=UTC)  # before this everything is known

ASSIGNMENTS, RECORDS, MODULES = map(GivenIds, ("assignments", "records", "modules"))
NOTHING = Value(None, IntegerField())
KNOWN = {"recorded_at__lt": Given("known_at", DateTimeField())}


class Kind(StrEnum):
    SETTINGS = "settings"
    CLEARANCE = "clearance"
    ACCEPTED = "accepted"
    LINK = "link"
    QUIZ = "quiz"
    TEACH_BACK = "teach_back"


class SettingsRow(NamedTuple):
    """What the programme says of every standing."""

    time_zone: str
    notice_days: int
    attempts_allowed: int


class ClearanceRow(NamedTuple):
    """An unrevoked clearance; `superseded`: a later edition took its worth away."""

    patient: int
    module: int
    pk: int
    cleared_on: str
    evidence: str
    superseded: bool


class AcceptedRow(NamedTuple):
    """A sign-off, or a waiver (no clearance), not taken back; `agrees`: the second clinician."""

    assignment: int
    clearance: int | None
    needs_second: bool
    agrees: bool | None


class LinkRow(NamedTuple):
    """An invitation with one attempt made through it, if any; `passed` None: not handed in."""

    assignment: int
    invitation: int
    at: str
    way: str
    attempt: int | None
    passed: bool | None


class TeachBackRow(NamedTuple):
    """A teach-back that took place, and whether it gave one more attempt at the quiz."""

    assignment: int
    pk: int
    at: str
    outcome: str
    one_more: bool


class QuizRow(NamedTuple):
    """A quiz handed in through somebody's link, with one decision about whose it is, if any.

    `speaker`: who speaks today for the record that it was matched to. `unsafe`: a list, which
    SQLite hands over as its JSON text: there a JSON column is text, also within an array.
    """

    pk: int
    at: str
    assignment: int
    module: int
    passed: bool
    unsafe: list[str] | str
    number: int | None
    verdict: str | None
    record: int | None
    speaker: int | None


@dataclass
class OnRecord:
    """By owner the unrevoked clearances and the quizzes handed in, oldest first; by assignment the
    latest link's id and teach-back, when the latest sheet that is not back was printed, whether a
    quiz is begun or waits for its owner, and whether an invitation has done its work (`used`).
    `handed_in`: when the last quiz of an owner was.

    `accepted`: by assignment and clearance (None: the whole assignment) what a clinician accepted.
    True: it counts. False: it waits for the second clinician. Taken back or declined: not there.

    `settings`: None while there is no programme, or was none.
    """

    settings: SettingsRow | None = None
    clearances: dict[Owner, list[ClearanceRow]] = field(default_factory=lambda: defaultdict(list))
    accepted: dict[tuple[int, int | None], bool] = field(default_factory=dict)
    latest: dict[int, int] = field(default_factory=dict)
    sheets: dict[int, datetime] = field(default_factory=dict)
    begun: set[int] = field(default_factory=set)
    used: set[int] = field(default_factory=set)
    matched: dict[Owner, list[PastAttempt]] = field(default_factory=lambda: defaultdict(list))
    handed_in: dict[Owner, datetime] = field(default_factory=dict)
    teach_backs: dict[int, TeachBackRow] = field(default_factory=dict)
    undecided: set[int] = field(default_factory=set)


def on_record(
    owners: Mapping[int, Owner],
    *,
    known_at: datetime = NOW,
    speaks: dict[int, int] | None = None,
) -> OnRecord:
    """Read it. `owners`: by the assignment's id whose it is, or was, and of which module.

    `speaks`: for a past instant, every record for which an owner spoke then, and which one did.
    """
    read = _everything(
        assignments=owners,
        records=set(speaks or ()) | {patient for patient, _ in owners.values()},
        modules={module for _, module in owners.values()},
        known_at=known_at,
    )
    rows: dict[str, list[Any]] = {kind: [] for kind in Kind}
    listed = json.loads(f"[{','.join(text for _, text in read)}]")  # all at once, which is quicker
    for (kind, _), row in zip(read, listed, strict=True):
        rows[kind].append(row)
    found = OnRecord()
    for row in rows[Kind.SETTINGS]:
        found.settings = SettingsRow(*row)
    clearances = (ClearanceRow(*row) for row in rows[Kind.CLEARANCE])
    for one in sorted(clearances, key=lambda one: (one.cleared_on, one.pk)):
        found.clearances[one.patient, one.module].append(one)
    _accept(found, (AcceptedRow(*row) for row in rows[Kind.ACCEPTED]))
    _follow_links(found, (LinkRow(*row) for row in rows[Kind.LINK]))
    _sort_quizzes(found, (QuizRow(*row) for row in rows[Kind.QUIZ]), speaks or {})
    teach_backs = (TeachBackRow(*row) for row in rows[Kind.TEACH_BACK])
    for held in sorted(teach_backs, key=lambda one: (instant(one.at), one.pk)):
        found.teach_backs[held.assignment] = held
    return found


def _accept(found: OnRecord, rows: Iterable[AcceptedRow]) -> None:
    """An agreement counts from its own day on; one that counts is enough."""
    for row in rows:
        if row.agrees is None or row.agrees:
            key = row.assignment, row.clearance
            counts = bool(row.agrees) or not row.needs_second
            found.accepted[key] = found.accepted.get(key, False) or counts


def _follow_links(found: OnRecord, rows: Iterable[LinkRow]) -> None:
    """Fill in the latest links and what is begun.

    Invitations up to one through which the quiz was passed have done their work and count no
    more; begun is an attempt that was not handed in, but for the one that a sheet of paper has
    from its printing on.
    """
    in_order = sorted(rows, key=lambda row: (instant(row.at), row.invitation))
    for (assignment, invitation), some in groupby(in_order, lambda r: (r.assignment, r.invitation)):
        listed = list(some)
        first, attempts = listed[0], [row for row in listed if row.attempt is not None]
        if any(row.passed for row in attempts):
            found.used.add(assignment)
            found.latest.pop(assignment, None)
            found.sheets.pop(assignment, None)
            found.begun.discard(assignment)
            continue
        way, open_still = first.way, any(row.passed is None for row in attempts)
        if way == Way.LINK:
            found.latest[assignment] = invitation
        if way == Way.PAPER:
            found.sheets.pop(assignment, None)
            if open_still:
                found.sheets[assignment] = instant(first.at).replace(tzinfo=UTC)
        elif open_still:
            found.begun.add(assignment)


def _sort_quizzes(found: OnRecord, rows: Iterable[QuizRow], speaks: dict[int, int]) -> None:
    """Say whose each quiz is by the latest decision about it, the oldest quiz first."""
    latest: dict[int, QuizRow] = {}
    for row in rows:
        if row.pk not in latest or (row.number or 0) > (latest[row.pk].number or 0):
            latest[row.pk] = row
    for quiz in sorted(latest.values(), key=lambda row: (instant(row.at), row.pk)):
        if quiz.verdict is None or quiz.verdict == IdentityVerdict.UNDONE:
            found.undecided.add(quiz.assignment)
        elif quiz.verdict in MATCHED and quiz.record is not None:
            speaker = speaks.get(quiz.record, quiz.record) if speaks else quiz.speaker
            unsafe = json.loads(quiz.unsafe) if isinstance(quiz.unsafe, str) else quiz.unsafe
            attempt = PastAttempt(bool(quiz.passed), frozenset(unsafe))
            owner = speaker or quiz.record, quiz.module
            found.matched[owner].append(attempt)
            found.handed_in[owner] = instant(quiz.at)


def instant(text: str) -> datetime:
    """Read an instant as either database writes it into JSON; both write UTC."""
    return datetime.fromisoformat(text).replace(tzinfo=None)


# --- the statement --------------------------------------------------------------------------------


@prepared
def _everything() -> QuerySet[Any, tuple[str, str]]:
    rest = (_accepted(SignOff.objects.all(), "clearance"), _accepted(Waiver.objects.all(), NOTHING))
    return _settings().union(_clearances(), *rest, _links(), _quizzes(), _teach_backs(), all=True)


def _part(kind: Kind, rows: QuerySet[Any], *columns: Any) -> QuerySet[Any, Any]:
    as_text = JSONArray(*columns, output_field=TextField())
    return rows.order_by().values_list(Value(kind, CharField()), as_text)


def _settings() -> QuerySet[Any, Any]:
    in_force = Programme.objects.filter(**KNOWN).order_by(*latest_first())[:1]
    return _part(
        Kind.SETTINGS,
        Programme.objects.filter(pk=Subquery(in_force.values("pk"))),
        *SettingsRow._fields,
    )


def _clearances() -> QuerySet[Any, Any]:
    """Those of a record that was merged into the patient's are on the patient's too (carry.py)."""
    superseding = Edition.objects.filter(
        module=OuterRef("module"),
        number__gt=OuterRef("edition__number"),
        earlier_clearances_count=False,
        **KNOWN,
    )
    revoked = Revocation.objects.filter(clearance=OuterRef("pk"), **KNOWN)
    return _part(
        Kind.CLEARANCE,
        Clearance.objects.filter(
            ~Exists(revoked), patient__among=RECORDS, module__among=MODULES, **KNOWN
        ),
        "patient",
        "module",
        "pk",
        "cleared_on",
        "evidence",
        Exists(superseding),
    )


def _accepted(rows: QuerySet[Any], clearance: Any) -> QuerySet[Any, Any]:
    return _part(
        Kind.ACCEPTED,
        rows.filter(assignment__among=ASSIGNMENTS, **KNOWN).exclude(_known_of("revocation")),
        "assignment",
        clearance,
        "needs_second",
        _if_known("second", "second__agrees"),
    )


def _links() -> QuerySet[Any, Any]:
    """Those taken back before their email went out, or their sheet was handed out, never counted.

    What was begun on a screen or a phone is begun; that a code was made for one says nothing.
    """
    mailed = InvitationToken.objects.filter(invitation=OuterRef("invitation"), **KNOWN)
    taken_back = InvitationEnd.objects.filter(
        ~Exists(mailed), invitation=OuterRef("pk"), because=EndedBecause.WITHDRAWN, **KNOWN
    )
    return _part(
        Kind.LINK,
        Invitation.objects.filter(~Exists(taken_back), assignment__among=ASSIGNMENTS, **KNOWN),
        "assignment",
        "pk",
        "recorded_at",
        "way",
        _if_known("attempts", "attempts__pk"),
        _if_known("attempts__submission", "attempts__submission__passed"),
    )


def _quizzes() -> QuerySet[Any, Any]:
    """Those handed in through the assignments' links, and those ever matched to the patients."""
    records = Patient.objects.filter(Q(pk__among=RECORDS) | Q(merged_into__among=RECORDS)).values(
        "pk"
    )
    matched = IdentityDecision.objects.filter(patient__in=records).order_by().values("submission")
    through = Submission.objects.filter(attempt__invitation__assignment__among=ASSIGNMENTS)
    asked = through.order_by().values("pk").union(matched)
    return _part(
        Kind.QUIZ,
        Submission.objects.filter(pk__in=asked, edition__module__among=MODULES, **KNOWN),
        "pk",
        "recorded_at",
        "attempt__invitation__assignment",
        "edition__module",
        "passed",
        "unsafe",
        _if_known("decisions", "decisions__number"),
        _if_known("decisions", "decisions__verdict"),
        "decisions__patient",
        "decisions__patient__merged_into",
    )


def _teach_backs() -> QuerySet[Any, Any]:
    """Those that nobody has said did not take place."""
    never = ContactCorrection.objects.filter(contact=OuterRef("contact"), **KNOWN)
    return _part(
        Kind.TEACH_BACK,
        TeachBack.objects.filter(~Exists(never), assignment__among=ASSIGNMENTS, **KNOWN),
        "assignment",
        "pk",
        "recorded_at",
        "outcome",
        "one_more_attempt",
    )


def _known_of(way: str) -> Q:
    return Q(**{f"{way}__recorded_at__lt": KNOWN["recorded_at__lt"]})


def _if_known(way: str, what: str) -> Case:
    """What a joined record says, None where there is none or it was not known yet."""
    return Case(When(_known_of(way), then=F(what)))
