"""Try the matching rule: on files, and on the programme's own past submissions. Writes nothing."""

from dataclasses import dataclass, field

from clinic.forms.programme import MATCHING
from clinic.rehearsal_words import (
    anew_words,
    counted,
    doubt_words,
    false_accepts,
    judged_words,
    rank_words,
    read_words,
    share,
    taken_back_words,
    tally_words,
)
from education.models import IdentityDecision, IdentityVerdict, Submission
from patients.lookup import whose
from patients.models import Patient
from patients.rules.identity import Claim, Decision, PersonId, Policy, Verdict
from patients.rules.in_memory import InMemoryRegister
from patients.rules.rehearsal import Answered, Judged, Tally, answer, judge, tally
from patients.rules.rehearsal_files import Files, Part

MOST_PAST = 2_000  # decided submissions, the latest ones


@dataclass(frozen=True)
class Result:
    """What would have become of the claims, in words: the most important first.

    `accepts` is about matches to the wrong person, empty where nobody knows who is the right one;
    `safe` is False if there were any. `settings`: what each setting of the programme would have
    matched without a person. `wrong`: the submissions that would have counted for somebody else.
    `taken_back`: those that the rule matched by itself, and a person undid it; no proof that the
    rule was wrong, so `safe` does not depend on them.
    """

    outcome: str
    accepts: str
    said: list[str]
    doubts: list[tuple[str, int]]
    safe: bool
    answers: list[Answered] = field(default_factory=list)
    settings: list[tuple[str, str]] = field(default_factory=list)
    wrong: list[int] = field(default_factory=list)
    taken_back: list[int] = field(default_factory=list)
    taken_back_said: str = ""
    anew_said: str = ""
    about: list[str] = field(default_factory=list)


def on_files(files: Files, names: dict[Part, str]) -> Result:
    """Ask the rule about each claim of the files; there are no links in files."""
    register = InMemoryRegister(files.people)
    answers = [answer(asked, register, Policy.NAME_AND_BIRTH_DATE) for asked in files.claims]
    counts = tally(answers)
    judged = judge(answers, files.truth) if files.truth is not None else None
    return Result(
        outcome=tally_words(counts),
        accepts=false_accepts(judged) if judged else "",
        said=judged_words(judged, counts.claims) if judged else [],
        doubts=doubt_words(counts),
        safe=not (judged and judged.wrong),
        answers=answers,
        about=read_words(files, names),
    )


@dataclass
class _Past:
    """What the rule makes of the submissions about which people, or it, decided."""

    counts: Tally = field(default_factory=Tally)
    by_people: Judged = field(default_factory=Judged)
    by_rule: Judged = field(default_factory=Judged)
    through_own_link: int = 0  # of those that would be matched without a person
    said_by_people: set[int] = field(default_factory=set)


def on_past_submissions() -> Result:
    """Ask the rule anew about the latest decided submissions, on the register as it is today.

    Asked under the widest setting; the narrower ones match fewer of the same. The truth is what
    stands decided: by people, or by the rule and never undone.
    """
    decided = IdentityDecision.objects.in_force()
    rows = decided.select_related("submission__attempt__invitation__assignment__operation")
    merged = Patient.objects.filter(merged_into__isnull=False)
    kept_for: dict[int | None, int | None] = dict(merged.values_list("pk", "merged_into"))
    past = _Past()
    for stands in rows.order_by("-submission_id")[:MOST_PAST]:
        _ask_anew(past, stands, kept_for)
    older = decided.count() - past.counts.claims
    taken_back = _taken_back()
    anew = past.said_by_people.intersection(taken_back)
    wrong = sorted(map(int, past.by_people.wrong + past.by_rule.wrong))
    return Result(
        outcome=tally_words(past.counts, "submission that people or the rule decided"),
        accepts=false_accepts(past.by_people, name_them=False) if past.by_people.known else "",
        said=[*_past_words(past), *_left_out(older)],
        doubts=doubt_words(past.counts),
        safe=not (past.by_people.wrong or past.by_rule.wrong),
        settings=_by_setting(past),
        wrong=wrong,
        taken_back=taken_back,
        taken_back_said=taken_back_words(len(taken_back)),
        anew_said=anew_words(len(anew), len(anew.intersection(wrong))),
    )


def _taken_back() -> list[int]:
    """Return the submissions that the rule matched by itself, and a person undid it."""
    stands = IdentityDecision.objects.in_force().values("pk")
    alone = IdentityDecision.objects.filter(verdict=IdentityVerdict.MATCHED_AUTOMATICALLY)
    undone = alone.exclude(pk__in=stands).order_by("submission_id")
    return list(undone.values_list("submission_id", flat=True))


def _ask_anew(
    past: _Past, stands: IdentityDecision, kept_for: dict[int | None, int | None]
) -> None:
    row = stands.submission
    claim = Claim(row.given_names, row.family_names, row.birth_date)
    link = row.attempt.invitation.assignment.operation.patient_id
    decision = whose(claim, link_patient_id=link, policy=Policy.NAME_AND_BIRTH_DATE)
    past.counts.add(decision)
    past.through_own_link += _is_through(decision, link)
    alone = stands.verdict == IdentityVerdict.MATCHED_AUTOMATICALLY
    judged = past.by_rule if alone else past.by_people
    if not alone:
        past.said_by_people.add(row.pk)
    judged.add(str(row.pk), decision, kept_for.get(stands.patient_id, stands.patient_id))


def _is_through(decision: Decision, link: PersonId) -> bool:
    return decision.verdict == Verdict.AUTOMATIC and decision.person_id == link


def _past_words(past: _Past) -> list[str]:
    people, rule = past.by_people, past.by_rule
    said = []
    if people.known:
        said += [
            f"People decided {people.known:,} of them, and what they said is taken for the truth.",
            *rank_words(people, "submissions"),
        ]
    if rule.known:
        said.append(
            f"The rule matched {rule.known:,} of them by itself, and nobody took that back. It "
            f"would match {rule.automatic_of_patients:,} of these to the same patient again, and "
            f"{len(rule.wrong):,} to somebody else."
        )
    return said


def _left_out(older: int) -> list[str]:
    undecided = Submission.objects.filter(decisions__isnull=True).count()
    stands = IdentityDecision.objects.in_force().values("submission")
    undone = Submission.objects.filter(decisions__isnull=False).exclude(pk__in=stands)
    left_out = [
        (undecided, "was never decided", "were never decided"),
        (
            undone.distinct().count(),
            "was decided, and the decision is undone",
            "were decided, and the decision is undone",
        ),
        (
            older,
            f"is older than the latest {MOST_PAST:,}",
            f"are older than the latest {MOST_PAST:,}",
        ),
    ]
    return [
        f"Not asked about: {counted(count, f'submission that {one}', f'submissions that {many}')}."
        for count, one, many in left_out
        if count > 0
    ]


def _by_setting(past: _Past) -> list[tuple[str, str]]:
    automatic = {
        Policy.NAME_AND_BIRTH_DATE: past.counts.verdicts[Verdict.AUTOMATIC],
        Policy.PERSONAL_LINK_ONLY: past.through_own_link,
        Policy.NEVER: 0,
    }
    return [
        (label, share(automatic[Policy(value)], past.counts.claims)) for value, label in MATCHING
    ]
