"""Lay the ranked candidates beside what was typed: what agrees, what differs, what they wait for.

The number of queries does not depend on the number of candidates, only on the submissions: the
identity rule is asked about each.
"""

import hashlib
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from itertools import combinations

from clinic.day_words import day
from clinic.reach import reached
from clinic.words import DIFFERS, WHY, why
from education.identify import consider
from education.models import Assignment, Submission
from education.rules.standing import Standing
from education.standings import Told, standings
from patients.clock import local_date
from patients.duplicates import pairs
from patients.known_names import KnownName, known_names
from patients.models import Patient, Programme
from patients.rules.date_likeness import compare_dates
from patients.rules.identity import Candidate, Decision, NameKind, Verdict, Why
from patients.rules.identity_reasons import why_alike
from patients.rules.names import name_tokens, normal_name
from patients.rules.names_beside import comparisons

Owner = tuple[int, int]  # patient id, module id
ABREAST = 5  # candidates side by side


class Mark(StrEnum):
    """How a part of a record compares with what was typed, as staff read it."""

    EQUAL = "equal"
    CLOSE = "close"
    DIFFERS = "differs"


# Of the reasons that something differs: those with which nothing is alike.
NOTHING_ALIKE = frozenset(
    {
        Why.BIRTH_DATE_DIFFERENT,
        Why.BIRTH_DATE_UNKNOWN,
        Why.GIVEN_NAME_DIFFERENT,
        Why.GIVEN_NAME_RESEMBLES,
        Why.GIVEN_NAME_MISSING,
        Why.FAMILY_NAME_DIFFERENT,
        Why.FAMILY_NAME_RESEMBLES,
        Why.FAMILY_NAME_MISSING,
        Why.LINK_WAS_SOMEBODY_ELSES,
    }
)
SAID_BY_THE_MARK = frozenset(
    {
        Why.BIRTH_DATE_DIFFERENT,
        Why.GIVEN_NAME_CLOSE,
        Why.GIVEN_NAME_DIFFERENT,
        Why.FAMILY_NAME_CLOSE,
        Why.FAMILY_NAME_DIFFERENT,
    }
)
BY_OTHER_NAME = {
    Why.BY_FORMER_NAME: NameKind.FORMER,
    Why.BY_PREFERRED_NAME: NameKind.PREFERRED,
}
LINK = frozenset({Why.LINK_AGREES, Why.LINK_WAS_SOMEBODY_ELSES})


@dataclass(frozen=True)
class Word:
    """A word of a name or date; `differs` when it was not typed."""

    text: str
    differs: bool


@dataclass(frozen=True)
class Part:
    """One part of a record beside what was typed; `how` says more where it is not just equal."""

    words: tuple[Word, ...]
    mark: Mark
    how: tuple[str, ...] = ()


@dataclass(frozen=True)
class Waiting:
    """An open assignment of the submission's module; `words` follow upon its standing."""

    told: Told
    words: str

    @property
    def standing(self) -> Standing:
        """Its standing today."""
        return self.told.answer.standing


@dataclass(frozen=True)
class Suggested:
    """A patient whose submission it could be, part by part.

    `other_name`: which of the patient's names was compared, when it is not the one of today.
    """

    patient: Patient
    given: Part
    family: Part
    birth_date: Part
    link: Part
    waiting: tuple[Waiting, ...]
    other_name: str = ""


@dataclass(frozen=True)
class Considered:
    """A submission that waits for a decision: why the rule left it, and the ranked candidates.

    `nobody_likely`: those who are ranked are merely the nearest. `searched`: who was found by a
    search of the register besides. `may_be_one`: two of the ranked who may be one person.
    """

    submission: Submission
    rule_would_match: bool
    fits_nobody: bool
    nobody_likely: bool
    reasons: tuple[str, ...]
    ranked: tuple[Suggested, ...]
    searched: tuple[Suggested, ...] = ()
    may_be_one: tuple[tuple[Suggested, Suggested], ...] = ()

    @property
    def suggested(self) -> tuple[Suggested, ...]:
        """Everybody who is shown."""
        return self.ranked + self.searched

    @property
    def seen(self) -> str:
        """A short text that changes when it is somebody else who is shown, or otherwise known."""
        facts = sorted(
            (one.patient.pk, one.patient.mrn, one.patient.full_name, one.other_name, _read(one))
            for one in self.suggested
        )
        return hashlib.sha256(repr(facts).encode()).hexdigest()[:16]

    @property
    def tables(self) -> list[tuple[str, tuple[Suggested, ...]]]:
        """Everybody who is shown, in tables that a page has room for, each with what they are."""
        found = [("Candidate", self.ranked)] if self.ranked else []
        for first in range(0, len(self.searched), ABREAST):
            found.append(("Found by your search", self.searched[first : first + ABREAST]))
        return found


def _read(one: Suggested) -> str:
    """The name and date of birth as they stand there."""
    parts = (one.given, one.family, one.birth_date)
    return " / ".join(" ".join(word.text for word in part.words) for part in parts)


@dataclass
class _Loaded:
    """Everything that is known about the candidates of a page, read at once."""

    patients: Mapping[int, Patient]
    names: Mapping[int, list[KnownName]]
    waiting: Mapping[Owner, list[Waiting]] = field(default_factory=dict)
    pairs: Collection[tuple[int, int]] = ()  # of records that may be one person's


def weigh(
    submissions: Iterable[Submission],
    *,
    at: datetime,
    settings: Programme,
    searched: Iterable[Patient] = (),
) -> list[Considered]:
    """Ask the identity rule about each submission, and put its answers into words.

    `searched`: patients to be shown behind the candidates, compared in the same way.
    """
    asked = [(submission, consider(submission)) for submission in submissions]
    people = list(searched)
    found = {s.pk: _besides(s, decision.candidates, people) for s, decision in asked}
    everybody = [c for s, decision in asked for c in (*decision.candidates, *found[s.pk])]
    loaded = _load([s for s, _ in asked], everybody, at=at, settings=settings)
    return [_considered(s, decision, found[s.pk], loaded) for s, decision in asked]


def _considered(
    submission: Submission, decision: Decision, found: list[Candidate], loaded: _Loaded
) -> Considered:
    ranked = _suggested(submission, decision.candidates, loaded)
    return Considered(
        submission=submission,
        rule_would_match=decision.verdict == Verdict.AUTOMATIC,
        fits_nobody=Why.NOBODY_FITS in decision.reasons,
        nobody_likely=decision.verdict == Verdict.NONE,
        reasons=tuple(WHY[reason] for reason in decision.reasons),
        ranked=ranked,
        searched=_suggested(submission, found, loaded),
        may_be_one=tuple(
            (one, other)
            for one, other in combinations(ranked, 2)
            if tuple(sorted((one.patient.pk, other.patient.pk))) in loaded.pairs
        ),
    )


def _besides(
    submission: Submission, ranked: Iterable[Candidate], people: list[Patient]
) -> list[Candidate]:
    """Compare those who were searched for and are not among the candidates already."""
    shown = {candidate.person_id for candidate in ranked}
    return [_as_candidate(submission, one) for one in people if one.pk not in shown]


def _as_candidate(submission: Submission, patient: Patient) -> Candidate:
    """Compare one patient, by the name of today, in the rule's own words."""
    link_patient = submission.attempt.invitation.assignment.operation.patient_id
    link = Why.LINK_AGREES if patient.pk == link_patient else Why.LINK_WAS_SOMEBODY_ELSES
    return Candidate(patient.pk, 0, (*_ways(submission, _of_today(patient))[0], link))


def _ways(submission: Submission, name: KnownName) -> list[tuple[Why, ...]]:
    """Return the reasons for each way in which the typed name can be laid beside this one."""
    typed = normal_name(submission.given_names, submission.family_names)
    dates = compare_dates(submission.birth_date, name.birth_date)
    recorded = normal_name(name.given_names, name.family_names)
    return [why_alike(likeness, dates, name.kind) for likeness in comparisons(typed, recorded)]


def _load(
    submissions: list[Submission],
    candidates: list[Candidate],
    *,
    at: datetime,
    settings: Programme,
) -> _Loaded:
    patients = Patient.objects.in_bulk([int(c.person_id) for c in candidates])
    by_other_name = {
        int(c.person_id) for c in candidates if not BY_OTHER_NAME.keys().isdisjoint(c.reasons)
    }
    modules = {submission.edition.module_id for submission in submissions}
    return _Loaded(
        patients,
        _other_names(by_other_name) if by_other_name else {},
        _waiting(set(patients), modules, at=at, settings=settings) if patients else {},
        _pairs(patients) if len(patients) > 1 else (),
    )


def _pairs(ids: Collection[int]) -> set[tuple[int, int]]:
    rows = pairs().filter(one__in=ids, other__in=ids).order_by()
    return set(rows.values_list("one", "other"))


def _other_names(ids: set[int]) -> dict[int, list[KnownName]]:
    """Return the names of these patients besides today's, those of merged records too."""
    names: dict[int, list[KnownName]] = defaultdict(list)
    for known in known_names(ids):
        if known.kind != NameKind.CURRENT:
            names[known.patient_id].append(known)
    return names


def _of_today(patient: Patient) -> KnownName:
    return KnownName(
        patient.pk,
        NameKind.CURRENT,
        patient.given_names,
        patient.family_names,
        patient.birth_date,
    )


def _waiting(
    patients: set[int], modules: set[int], *, at: datetime, settings: Programme
) -> dict[Owner, list[Waiting]]:
    on = local_date(at, settings.zone)
    rows = (
        Assignment.objects.still_open()
        .filter(operation__patient__in=patients, module__in=modules)
        .select_related("operation__patient", "module")
        .order_by("clear_by", "id")
    )
    waiting: dict[Owner, list[Waiting]] = defaultdict(list)
    for told in standings(rows, on=on):
        or_date = told.facts.or_date
        said = "; ".join(why(told, reached(told, at=at, zone=settings.zone)))
        words = f", OR date {day(or_date)}: {said}" if or_date else f": {said}"
        assignment = told.assignment
        waiting[assignment.operation.patient_id, assignment.module_id].append(Waiting(told, words))
    return waiting


def _suggested(
    submission: Submission, candidates: Iterable[Candidate], loaded: _Loaded
) -> tuple[Suggested, ...]:
    return tuple(_side_by_side(submission, candidate, loaded) for candidate in candidates)


def _side_by_side(submission: Submission, candidate: Candidate, loaded: _Loaded) -> Suggested:
    patient = loaded.patients[int(candidate.person_id)]
    name, other_name = _compared_name(submission, candidate, patient, loaded)
    reasons = candidate.reasons
    typed = {*name_tokens(submission.given_names), *name_tokens(submission.family_names)}
    born = Word(day(name.birth_date), name.birth_date != submission.birth_date)
    return Suggested(
        patient=patient,
        given=_part(_words(name.given_names, typed), reasons, "given_name"),
        family=_part(_words(name.family_names, typed), reasons, "family_name"),
        birth_date=_part((born,), reasons, "birth_date"),
        link=_link(reasons),
        waiting=tuple(loaded.waiting.get((patient.pk, submission.edition.module_id), ())),
        other_name=other_name,
    )


def _compared_name(
    submission: Submission, candidate: Candidate, patient: Patient, loaded: _Loaded
) -> tuple[KnownName, str]:
    """Return the name that the rule compared, and what to call it when it is not today's."""
    said = set(candidate.reasons) - LINK
    kinds = {BY_OTHER_NAME[reason] for reason in said & BY_OTHER_NAME.keys()}
    others = [name for name in loaded.names.get(patient.pk, ()) if name.kind in kinds]
    if not others:
        return _of_today(patient), ""
    # The one for which the rule would say the same.
    same = [n for n in others if any(said == set(way) for way in _ways(submission, n))]
    name = (same or others)[0]
    return name, f"{name.kind} name"


def _words(name: str, typed: set[str]) -> tuple[Word, ...]:
    return tuple(Word(word, not set(name_tokens(word)) <= typed) for word in name.split())


def _part(words: tuple[Word, ...], reasons: tuple[Why, ...], part: str) -> Part:
    """Mark one part by the reasons that are about it."""
    about = [reason for reason in reasons if _is_about(reason, part)]
    differing = [reason for reason in about if reason in DIFFERS]
    if not differing:
        return Part(words, Mark.EQUAL)
    nothing_alike = not NOTHING_ALIKE.isdisjoint(differing)
    return Part(
        words,
        Mark.DIFFERS if nothing_alike else Mark.CLOSE,
        tuple(WHY[reason] for reason in differing if reason not in SAID_BY_THE_MARK),
    )


def _is_about(reason: Why, part: str) -> bool:
    """By the reason's name: it begins with the part that it is about.

    What is said of the whole name is about both parts; a generation stands behind the family name.
    """
    if reason.value.startswith(part):
        return True
    if part == "birth_date":
        return False
    of_both = (Why.NAME_EQUAL, Why.NAME_IN_OTHER_ORDER, Why.PARTS_IN_OTHER_ORDER)
    return reason in of_both or (part == "family_name" and reason == Why.GENERATION_DIFFERS)


def _link(reasons: tuple[Why, ...]) -> Part:
    if Why.LINK_AGREES in reasons:
        return Part((), Mark.EQUAL, ("this patient",))
    return Part((), Mark.DIFFERS, ("somebody else",))
