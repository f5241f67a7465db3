"""Try the matching rule: on files, and on the programme's own past submissions. Writes nothing."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from clinic.rehearsal_words import counted, doubt_words, judged_words, read_words, tally_words
from education.models import IdentityDecision, IdentityVerdict, Submission
from patients.lookup import OnRecord
from patients.models import Merge
from patients.rules.identity import Claim, Policy, decide
from patients.rules.rehearsal import Answered, Judged, Tally, answer, judge, register_of, tally
from patients.rules.rehearsal_files import Files, Part

MOST_PAST = 2_000  # submissions, the latest ones


@dataclass(frozen=True)
class Result:
    """What would have become of the claims, in words; `safe` is False after a false accept."""

    said: list[str]
    doubts: list[tuple[str, int]]
    safe: bool
    answers: list[Answered] = field(default_factory=list)


def on_files(files: Files, policy: Policy, names: dict[Part, str]) -> Result:
    """Ask the rule about each claim of the files."""
    register = register_of(files.people)
    answers = [answer(asked, register, policy) for asked in files.claims]
    counts = tally(answers)
    said = tally_words(counts, policy)
    judged = judge(answers, files.truth) if files.truth is not None else Judged()
    if files.truth is not None:
        said += judged_words(judged, counts.claims)
    return Result(said + read_words(files, names), doubt_words(counts), not judged.wrong, answers)


def on_past_submissions(policy: Policy) -> Result:
    """Ask the rule anew about the latest submissions, on the register as it is today.

    The truth is what stands decided: by people, or by the rule and never undone.
    """
    rows = Submission.objects.select_related("attempt__invitation__assignment__operation")
    latest = list(rows.order_by("-recorded_at", "-id")[:MOST_PAST])
    stands = {
        decision.submission_id: decision
        for decision in IdentityDecision.objects.in_force(submission__in=latest)
    }
    kept_for = _kept_for()
    counts, by_people, by_rule = Tally(), Judged(), Judged()
    for row in latest:
        claim = Claim(row.given_names, row.family_names, row.birth_date)
        link = row.attempt.invitation.assignment.operation.patient_id
        decision = decide(claim, OnRecord(), link_person_id=link, policy=policy)
        counts.add(decision)
        stood = stands.get(row.pk)
        if stood is not None:
            alone = stood.verdict == IdentityVerdict.MATCHED_AUTOMATICALLY
            right = _who(stood.patient_id, kept_for)
            (by_rule if alone else by_people).add(str(row.pk), decision, right)
    return Result(
        [
            *tally_words(counts, policy),
            *_past_words(counts, by_people, by_rule),
            *_left_out(Submission.objects.count() - len(latest)),
        ],
        doubt_words(counts),
        not (by_people.wrong or by_rule.wrong),
    )


def _past_words(counts: Tally, by_people: Judged, by_rule: Judged) -> Iterable[str]:
    if by_people.known:
        yield f"Compared with {counted(by_people.known, 'decision', 'decisions')} by people:"
        yield from judged_words(by_people, by_people.known)
    if by_rule.known:
        matches = counted(by_rule.known, "match", "matches")
        yield (
            f"Of {matches} that the rule made by itself and nobody took back, it would make "
            f"{by_rule.automatic_of_patients:,} again, and {len(by_rule.wrong):,} otherwise."
        )
    undecided = counts.claims - by_people.known - by_rule.known
    if undecided:
        yield f"{counted(undecided, 'submission is', 'submissions are')} not decided: not compared."


def _left_out(older: int) -> list[str]:
    if older <= 0:
        return []
    return [f"Only the latest {MOST_PAST:,} were asked about; {older:,} are older."]


def _kept_for() -> dict[int, int]:
    """Which record speaks for each merged one."""
    merges = Merge.objects.filter(undone__isnull=True).values_list("merged", "kept")
    return dict(merges)


def _who(patient_id: int | None, kept_for: dict[int, int]) -> int | None:
    while patient_id in kept_for:
        patient_id = kept_for[patient_id]
    return patient_id
