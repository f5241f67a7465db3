"""Whose submission is this?  decide() is the one rule that may match without a person.

It is read from the top: whoever fits in name and date of birth; then every doubt. One who fits
and no doubt is an automatic match; anything else goes to a person, with the candidates ranked by
the evidence (evidence.py). The weight of the evidence orders candidates and nothing else.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import log2
from typing import Protocol

from patients.rules.date_likeness import Born as Born
from patients.rules.date_likeness import DateAlike, compare_dates
from patients.rules.date_likeness import WrittenDate as WrittenDate
from patients.rules.evidence import (
    BIRTH_DAYS,
    DATE_BITS,
    LINK_AGREES,
    LINK_DISAGREES,
    weight,
)
from patients.rules.identity_keys import (
    asked_first,
    begin_keys,
    loose_keys,
    mistyped_date_keys,
    namesake_key,
    namesake_keys,
    word_key,
    word_keys,
)
from patients.rules.identity_reasons import Why as Why
from patients.rules.identity_reasons import why_alike
from patients.rules.name_likeness import LONG_ENOUGH, Alike, NameLikeness, comparisons
from patients.rules.names import NormalName, Words, normal_name


class Verdict(StrEnum):
    AUTOMATIC = "automatic"
    REVIEW = "review"
    NONE = "none"


class Policy(StrEnum):
    """What the programme allows to be matched without a person."""

    NAME_AND_BIRTH_DATE = "name_and_birth_date"
    PERSONAL_LINK_ONLY = "personal_link_only"
    NEVER = "never"


class NameKind(StrEnum):
    """Which of a patient's names it is."""

    CURRENT = "current"
    FORMER = "former"
    PREFERRED = "preferred"


PersonId = int | str


@dataclass(frozen=True)
class Claim:
    """The name and date of birth as they were typed; the date may be one that no calendar has."""

    given_names: str
    family_names: str
    birth_date: Born


@dataclass(frozen=True)
class Named:
    """One name of one person on the register, in normal form; `id` is the name's own."""

    id: int
    person_id: PersonId
    kind: NameKind
    name: NormalName
    born: Born


@dataclass(frozen=True)
class Candidate:
    """A person with the evidence for and against.

    `weight`: bits for one and the same person, against one chance among everybody on the register.
    """

    person_id: PersonId
    weight: float
    reasons: tuple[Why, ...]


@dataclass(frozen=True)
class Decision:
    """`person_id` is set for AUTOMATIC only; at most five candidates, the strongest first.

    With NONE there may be candidates too: the nearest ones, none of them likely.
    """

    verdict: Verdict
    person_id: PersonId | None
    reasons: tuple[Why, ...]
    candidates: tuple[Candidate, ...]


class Register(Protocol):
    """Where candidates come from: the database (patients/lookup.py), or memory (in_memory.py)."""

    @property
    def people(self) -> int:
        """How many people are on it, near enough for a logarithm."""

    def named(self, keys: Collection[int]) -> Sequence[Named]:
        """Return the names that have one of the keys, at most MOST_COMPARED."""

    def of(self, person_id: PersonId) -> Sequence[Named]:
        """Return the names of one person."""

    def bearers(self, keys: Collection[int]) -> dict[int, int]:
        """Count the names that have each key, exactly up to MANY."""


# A rule that may clear a patient: the numbers are the design's, not tuned.
EXPECTED_NAMESAKES = 0.001  # on the register, born on the same day
# Two of one family name born on one day are taken for twins, unless so many bear the name that
# chance brings it about as well.
TWINS_NAME_BEARERS = 200

MOST_COMPARED = 2000
MANY = 5000
RARE = 200  # bearers of a word that are all looked at in the second pass
SHOWN = 5

# Bits. At or above LIKELY a pair is taken for one person; somebody may be meant from WORTH_ASKING.
LIKELY = -2.0
WORTH_ASKING = -3.0
STRONG = 6.0
NEAREST = -16.0


@dataclass(frozen=True)
class _Compared:
    named: Named
    names: NameLikeness
    dates: DateAlike
    weight: float


def decide(
    claim: Claim,
    register: Register,
    *,
    link_person_id: PersonId | None = None,
    policy: Policy = Policy.NAME_AND_BIRTH_DATE,
) -> Decision:
    """Say whose claim this is, or who should look at it.

    `link_person_id` is the person whose personal link was used, if any. Automatic only if name and
    date of birth fit exactly one person and there is no doubt (`_doubts`).
    """
    name = normal_name(claim.given_names, claim.family_names)
    compared = _compare(name, claim.birth_date, register, link_person_id)
    candidates = _ranked(compared, link_person_id)
    doubts = _doubts(name, claim.birth_date, compared, register, link_person_id, policy)
    fitting = _fitting(compared)
    if not doubts:
        first = next(c for c in candidates if c.person_id == fitting[0].named.person_id)
        return Decision(Verdict.AUTOMATIC, first.person_id, first.reasons, candidates[:SHOWN])
    asked = bool(fitting) or any(
        c.weight >= WORTH_ASKING or c.person_id == link_person_id for c in candidates
    )
    verdict = Verdict.REVIEW if asked else Verdict.NONE
    return Decision(verdict, None, doubts, candidates[:SHOWN])


def likely(name: NormalName, born: Born, register: Register) -> tuple[Candidate, ...]:
    """Return everybody on the register who is taken for the person of this name, strongest first.

    The person is not on that register: to look for duplicates, leave out the record that asks.
    """
    ranked = _ranked(_compare(name, born, register, None), None)
    return tuple(candidate for candidate in ranked if candidate.weight >= LIKELY)


def _compare(
    name: NormalName, born: Born, register: Register, link_person_id: PersonId | None
) -> list[_Compared]:
    """Compare the claim with everybody who could be meant: first by date, then by name alone."""
    words = word_keys(name)
    bearers = register.bearers(words.values())
    found = list(register.named(asked_first(name, born)))
    if link_person_id is not None:
        found += register.of(link_person_id)
    compared = _weigh_all(name, born, found, bearers, register.people)
    if max((c.weight for c in compared), default=NEAREST) < STRONG:
        counted = bearers | register.bearers(begin_keys(name))
        rare = {key for key, count in counted.items() if count <= RARE}
        found += register.named(
            rare | namesake_keys(name) | loose_keys(name) | mistyped_date_keys(born)
        )
        compared = _weigh_all(name, born, found, bearers, register.people)
    return compared


def _weigh_all(
    name: NormalName, born: Born, found: Iterable[Named], bearers: dict[int, int], people: int
) -> list[_Compared]:
    straight = [bearers.get(word_key(part.joined), 0) for part in (name.given, name.family)]
    crossed = straight[::-1]
    chance = log2(max(people, 1))
    compared = []
    for named in {one.id: one for one in found}.values():
        dates = compare_dates(born, named.born)
        bits, names = max(
            (
                (weight(names, *(crossed if names.moved else straight), people), names)
                for names in comparisons(name, named.name)
            ),
            key=lambda weighed: weighed[0],
        )
        compared.append(_Compared(named, names, dates, bits + DATE_BITS[dates] - chance))
    return compared


def _ranked(
    compared: Iterable[_Compared], link_person_id: PersonId | None
) -> tuple[Candidate, ...]:
    """One candidate for each person, by the name that speaks most for it; the strongest first."""
    best: dict[PersonId, _Compared] = {}
    for one in sorted(compared, key=lambda c: (-c.weight, c.named.kind != NameKind.CURRENT)):
        best.setdefault(one.named.person_id, one)
    candidates = [_candidate(one, link_person_id) for one in best.values()]
    shown = [c for c in candidates if c.weight >= NEAREST or c.person_id == link_person_id]
    # Fitting ones lead: who is matched is never second to a rarer name.
    fits = {c.named.person_id for c in _fitting(compared)}
    return tuple(
        sorted(shown, key=lambda c: (c.person_id not in fits, -c.weight, str(c.person_id)))
    )


def _candidate(one: _Compared, link_person_id: PersonId | None) -> Candidate:
    reasons = why_alike(one.names, one.dates, one.named.kind)
    if link_person_id is None:
        return Candidate(one.named.person_id, one.weight, reasons)
    agrees = one.named.person_id == link_person_id
    return Candidate(
        one.named.person_id,
        one.weight + (LINK_AGREES if agrees else LINK_DISAGREES),
        (*reasons, Why.LINK_AGREES if agrees else Why.LINK_WAS_SOMEBODY_ELSES),
    )


def _fitting(compared: Iterable[_Compared]) -> list[_Compared]:
    """Return for each person who fits the name that fits best."""
    fitting: dict[PersonId, _Compared] = {}
    for one in sorted(compared, key=lambda c: (-c.weight, c.named.kind != NameKind.CURRENT)):
        if _fits(one):
            fitting.setdefault(one.named.person_id, one)
    return list(fitting.values())


def _fits(one: _Compared) -> bool:
    """Name and date of birth agree: equal, but for one of the differences that people make."""
    if one.dates != DateAlike.EQUAL or one.names.generation_differs:
        return False
    return _is_exact(one.names) or _differs_once(one.names)


def _is_exact(names: NameLikeness) -> bool:
    return names.given == names.family == Alike.EQUAL


def _differs_once(names: NameLikeness) -> bool:
    """A middle name more or less; or one letter, or one part, of a family name."""
    if names.given == Alike.MIDDLE_NAME:
        return names.family == Alike.EQUAL
    once = names.given == Alike.EQUAL and names.family in (Alike.ONE_EDIT, Alike.PART)
    return once and not names.moved


def _doubts(
    name: NormalName,
    born: Born,
    compared: list[_Compared],
    register: Register,
    link_person_id: PersonId | None,
    policy: Policy,
) -> tuple[Why, ...]:
    """Return everything that speaks against matching without a person."""
    fitting = _fitting(compared)
    if not fitting:
        return (Why.BIRTH_DATE_IMPOSSIBLE,) if isinstance(born, WrittenDate) else (Why.NOBODY_FITS,)
    if len(fitting) > 1:
        return (Why.MORE_THAN_ONE_FITS,)
    one = fitting[0]
    linked = link_person_id == one.named.person_id
    doubts = []
    if len(compared) >= MOST_COMPARED:
        doubts.append(Why.TOO_MANY_TO_COMPARE)
    if any(_similar(one, other, register) for other in compared):
        doubts.append(Why.SIMILAR_NAME_SAME_BIRTH_DATE)
    if not _is_exact(one.names):
        doubts += _doubts_of_a_difference(name, one, register)
    if not (linked and _is_exact(one.names)) and _is_common(one, name, register):
        doubts.append(Why.NAME_TOO_COMMON)
    if link_person_id is not None and not linked:
        doubts.append(Why.LINK_WAS_SOMEBODY_ELSES)
    if policy == Policy.NEVER or (policy == Policy.PERSONAL_LINK_ONLY and not linked):
        doubts.append(Why.AUTOMATIC_SWITCHED_OFF)
    return tuple(doubts)


def _similar(one: _Compared, other: _Compared, register: Register) -> bool:
    """Twins, or a parent and child under one date of birth."""
    if other.named.person_id == one.named.person_id or other.dates != DateAlike.EQUAL:
        return False
    names = comparisons(one.named.name, other.named.name)[0]
    missing = (Alike.MISSING, Alike.BOTH_MISSING)
    unlike = (Alike.DIFFERENT, Alike.RESEMBLES)
    if names.family in (*missing, *unlike):
        return names.family in missing and names.given not in (*missing, *unlike)
    if names.given not in (*missing, *unlike[:1]):
        return True
    key = word_key(one.named.name.family.joined)
    return register.bearers([key]).get(key, 0) <= TWINS_NAME_BEARERS


def _doubts_of_a_difference(name: NormalName, one: _Compared, register: Register) -> list[Why]:
    """One letter or one part off is a slip only in a long name, and if nobody else is called so."""
    if one.names.family not in (Alike.ONE_EDIT, Alike.PART):
        return []
    if min(len(name.family.joined), len(one.named.name.family.joined)) < LONG_ENOUGH:
        return [Why.SHORT_NAME_DIFFERS]
    typed = word_key(name.family.joined)
    if one.names.family == Alike.ONE_EDIT and register.bearers([typed]).get(typed):
        return [Why.SOMEBODY_HAS_THE_TYPED_NAME]
    return []


def _is_common(one: _Compared, name: NormalName, register: Register) -> bool:
    """More namesakes on the register than EXPECTED_NAMESAKES allows to be born on one day."""
    recorded = one.named.name
    keys = {
        namesake_key(_first(recorded.given), family)
        for family in _shared_family(name.family, recorded.family, one.names)
    }
    others = max(register.bearers(keys).values(), default=1) - 1
    return others / BIRTH_DAYS > EXPECTED_NAMESAKES


def _first(given: Words) -> str:
    return given.words[0] if given else ""


def _shared_family(typed: Words, recorded: Words, names: NameLikeness) -> set[str]:
    if names.family != Alike.PART:
        return {recorded.joined}
    return {recorded.joined, *(set(typed.bearing) & set(recorded.bearing))}
