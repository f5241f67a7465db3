"""Read how far patients came: their latest links, quizzes begun, and quizzes handed in.

Two queries, however many assignments and however large the tables: each begins with the
assignments or the patients that are asked about and goes on by keys. (A condition that names both
at once, or one that asks for each row whether another exists, makes the databases read everything.)
"""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, NamedTuple

from django.db.models import Exists, F, OuterRef, Q

from education.models import (
    MATCHED,
    Assignment,
    EndedBecause,
    IdentityDecision,
    IdentityVerdict,
    Invitation,
    InvitationEnd,
    InvitationToken,
    Submission,
)
from education.rules.scoring import PastAttempt
from patients.models import Patient
from patients.speaks_for import spoken_for

Owner = tuple[int, int]  # patient id, module id

# What is said of a submission and of the decisions about it, from the submission on. When it was
# decided is asked about a past instant only.
OF_SUBMISSION = {
    "submission_at": "recorded_at",
    "passed": "passed",
    "unsafe": "unsafe",
    "module": "edition__module",
    "number": "decisions__number",
    "verdict": "decisions__verdict",
    "record": "decisions__patient",
    "speaker": "decisions__patient__merged_into",
}
DECIDED_AT = {"decided_at": "decisions__recorded_at"}


class Row(NamedTuple):
    """A quiz as it was read; what no query asked for is None. In the order of the columns."""

    pk: int  # the invitation's
    assignment_id: int
    attempt: int | None
    submission: int | None
    q_submission_at: datetime | None
    q_passed: bool | None
    q_unsafe: list[str] | None
    q_module: int | None
    q_number: int | None
    q_verdict: str | None
    q_record: int | None
    q_speaker: int | None
    q_decided_at: datetime | None = None


@dataclass
class HowFar:
    """By assignment the latest invitation, and whether a quiz is begun or waits for its owner;
    by owner the quizzes handed in, oldest first.
    """

    latest: dict[int, Any] = field(default_factory=dict)
    begun: set[int] = field(default_factory=set)
    matched: dict[Owner, list[PastAttempt]] = field(default_factory=lambda: defaultdict(list))
    undecided: set[int] = field(default_factory=set)


@dataclass
class _Quiz:
    """A submission with the decision about it that is in force, as it was known."""

    at: datetime
    assignment: int
    passed: bool
    unsafe: list[str]
    module: int
    number: int = 0
    verdict: str | None = None
    record: int | None = None
    speaker: int | None = None


def how_far(
    assignments: list[Assignment],
    patients: Collection[int],
    *,
    known_at: datetime | None,
    whole: bool,
) -> HowFar:
    """Read it as it is, or as it was known before an instant.

    `patients`: whose the assignments are, or were. `whole`: the invitations as records with their
    message and end, else as rows without.
    """
    found = HowFar()
    quizzes = _through_links(found, assignments, known_at=known_at, whole=whole)
    modules = {a.module_id for a in assignments}
    speaks = spoken_for(patients, known_at=known_at) if known_at else {}
    if known_at:
        theirs = Q(patient__in=list(speaks))
    else:
        # As a query of its own: joined, the databases look at every decision there is.
        records = Patient.objects.filter(Q(pk__in=patients) | Q(merged_into__in=patients))
        theirs = Q(patient__in=records.values("pk"))
    ever_matched = IdentityDecision.objects.filter(theirs).values("submission")
    columns = _columns("", known_at)
    rows = (
        Submission.objects.filter(pk__in=ever_matched, edition__module__in=modules)
        .exclude(attempt__invitation__assignment__in=assignments)
        .values_list("attempt__invitation__assignment", "attempt", "pk", *columns.values())
    )
    for values in rows:
        _take(quizzes, Row(0, *values), known_at)
    for _, quiz in sorted(quizzes.items(), key=lambda item: (item[1].at, item[0])):
        if quiz.verdict is None or quiz.verdict == IdentityVerdict.UNDONE:
            found.undecided.add(quiz.assignment)
        elif quiz.verdict in MATCHED and quiz.record is not None:
            owner = quiz.speaker or quiz.record
            if known_at is not None:
                owner = speaks.get(quiz.record, quiz.record)
            attempt = PastAttempt(quiz.passed, frozenset(quiz.unsafe))
            found.matched[owner, quiz.module].append(attempt)
    return found


def _through_links(
    found: HowFar, assignments: list[Assignment], *, known_at: datetime | None, whole: bool
) -> dict[int, _Quiz]:
    """Fill in the latest invitations and what is begun; return the quizzes, by submission.

    Invitations up to one through which the quiz was passed have done their work and count no
    more, and those taken back before their email went out never counted; begun is a quiz with no
    submission yet.
    """
    known = {} if known_at is None else {"recorded_at__lt": known_at}
    mailed = InvitationToken.objects.filter(invitation=OuterRef("invitation"), **known)
    taken_back = InvitationEnd.objects.filter(
        ~Exists(mailed), invitation=OuterRef("pk"), because=EndedBecause.WITHDRAWN, **known
    )
    columns = {
        "attempt": "attempts",
        "submission": "attempts__submission",
        **_columns("attempts__submission__", known_at),
    }
    found_rows = Invitation.objects.filter(
        ~Exists(taken_back), assignment__in=assignments, **known
    ).order_by("recorded_at", "id")
    rows: Any
    if whole:
        columns |= {"attempt_at": "attempts__recorded_at"}
        rows = found_rows.select_related("message", "end").annotate(
            **{name: F(path) for name, path in columns.items()}
        )
    else:
        listed = found_rows.values_list("pk", "assignment", *columns.values())
        rows = [Row(*values) for values in listed]
    quizzes: dict[int, _Quiz] = {}
    by_invitation: dict[int, list[Any]] = defaultdict(list)
    for row in rows:
        by_invitation[row.pk].append(row)
        if row.submission is not None:
            _take(quizzes, row, known_at)
    for some in by_invitation.values():
        _count(found, some, known_at)
    return quizzes


def _count(found: HowFar, rows: list[Any], known_at: datetime | None) -> None:
    """Count one invitation, from the rows of its attempts."""
    assignment = rows[0].assignment_id
    handed_in = [row for row in rows if _is_known(row.q_submission_at, known_at)]
    if any(row.q_passed for row in handed_in):
        found.latest.pop(assignment, None)
        found.begun.discard(assignment)
        return
    found.latest[assignment] = rows[0]
    begun = {
        row.attempt
        for row in rows
        if row.attempt is not None and (known_at is None or row.attempt_at < known_at)
    }
    if begun - {row.attempt for row in handed_in}:
        found.begun.add(assignment)


def _take(quizzes: dict[int, _Quiz], row: Any, known_at: datetime | None) -> None:
    """Keep a submission with the latest decision that was known of it."""
    if not _is_known(row.q_submission_at, known_at):
        return
    quiz = quizzes.setdefault(
        row.submission,
        _Quiz(
            row.q_submission_at,
            row.assignment_id,
            row.q_passed,
            row.q_unsafe,
            row.q_module,
        ),
    )
    known = row.q_number is not None and (known_at is None or row.q_decided_at < known_at)
    if known and row.q_number >= quiz.number:
        quiz.number, quiz.verdict = row.q_number, row.q_verdict
        quiz.record, quiz.speaker = row.q_record, row.q_speaker


def _is_known(at: datetime | None, known_at: datetime | None) -> bool:
    return at is not None and (known_at is None or at < known_at)


def _columns(way: str, known_at: datetime | None) -> dict[str, str]:
    """Return where each column is, by a name that no field has; `way` leads to submissions."""
    wanted = OF_SUBMISSION if known_at is None else OF_SUBMISSION | DECIDED_AT
    return {f"q_{name}": f"{way}{path}" for name, path in wanted.items()}
