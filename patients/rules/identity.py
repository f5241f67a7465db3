"""Whose submission is this?  decide() is the one rule that may match without a person.

Everything outside calls `decide` and reads its `Decision`; how names and dates are weighed may
change in here without any caller noticing.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from rapidfuzz.distance import DamerauLevenshtein, JaroWinkler

from patients.rules.names import name_key, name_tokens


class Verdict(StrEnum):
    AUTOMATIC = "automatic"
    REVIEW = "review"
    NONE = "none"


class Policy(StrEnum):
    """What the programme allows to be matched without a person."""

    NAME_AND_BIRTH_DATE = "name_and_birth_date"
    PERSONAL_LINK_ONLY = "personal_link_only"
    NEVER = "never"


class Why(StrEnum):
    BIRTH_DATE_EQUAL = "birth_date_equal"
    BIRTH_DATE_DAY_MONTH_EXCHANGED = "birth_date_day_month_exchanged"
    BIRTH_DATE_CLOSE = "birth_date_close"
    BIRTH_DATE_DIFFERENT = "birth_date_different"
    NAME_EQUAL = "name_equal"
    NAME_IN_OTHER_ORDER = "name_in_other_order"
    GIVEN_NAME_EQUAL = "given_name_equal"
    GIVEN_NAME_CLOSE = "given_name_close"
    GIVEN_NAME_DIFFERENT = "given_name_different"
    FAMILY_NAME_EQUAL = "family_name_equal"
    FAMILY_NAME_CLOSE = "family_name_close"
    FAMILY_NAME_PART_OF_COMPOUND = "family_name_part_of_compound"
    FAMILY_NAME_DIFFERENT = "family_name_different"
    LINK_AGREES = "link_agrees"
    LINK_WAS_SOMEBODY_ELSES = "link_was_somebody_elses"
    SIMILAR_NAME_SAME_BIRTH_DATE = "similar_name_same_birth_date"
    MORE_THAN_ONE_FITS = "more_than_one_fits"
    AUTOMATIC_SWITCHED_OFF = "automatic_switched_off"
    NOBODY_FITS = "nobody_fits"


@dataclass(frozen=True)
class Claim:
    """The name and date of birth as they were typed."""

    given_names: str
    family_names: str
    birth_date: date


@dataclass(frozen=True)
class Person:
    """A patient of the register, as the rule sees one."""

    id: int
    given_names: str
    family_names: str
    birth_date: date


@dataclass(frozen=True)
class Candidate:
    """A person with the evidence for and against; `weight` only orders candidates."""

    person_id: int
    weight: int
    reasons: tuple[Why, ...]


@dataclass(frozen=True)
class Decision:
    """`person_id` is set for AUTOMATIC only; candidates come strongest first."""

    verdict: Verdict
    person_id: int | None
    reasons: tuple[Why, ...]
    candidates: tuple[Candidate, ...]


# Points order the review page and nothing else; no sum of points ever matches anybody.
WEIGHT = {
    Why.BIRTH_DATE_EQUAL: 40,
    Why.BIRTH_DATE_DAY_MONTH_EXCHANGED: 25,
    Why.BIRTH_DATE_CLOSE: 20,
    Why.NAME_EQUAL: 40,
    Why.NAME_IN_OTHER_ORDER: 35,
    Why.GIVEN_NAME_EQUAL: 20,
    Why.GIVEN_NAME_CLOSE: 12,
    Why.FAMILY_NAME_EQUAL: 20,
    Why.FAMILY_NAME_CLOSE: 14,
    Why.FAMILY_NAME_PART_OF_COMPOUND: 14,
    Why.LINK_AGREES: 20,
}
WORTH_SHOWING = 40
CLOSE = 0.88  # Jaro-Winkler similarity, 0 to 1


def decide(
    claim: Claim,
    register: Iterable[Person],
    *,
    link_person_id: int | None = None,
    policy: Policy = Policy.NAME_AND_BIRTH_DATE,
) -> Decision:
    """Say whose claim this is, or who should look at it.

    `register` must hold every person with the claimed date of birth or the claimed name; others
    only help the ranking. `link_person_id` is the person whose personal link was used, if any.
    Automatic only if name and date of birth are equal for exactly one person, nobody of a similar
    name was born on that day, the link was not somebody else's, and the policy allows it.
    """
    people = list(register)
    candidates = tuple(
        sorted(
            (candidate for p in people if (candidate := weigh(claim, p, link_person_id))),
            key=lambda candidate: (-candidate.weight, candidate.person_id),
        )
    )
    fitting = [p for p in people if _fits(claim, p)]
    if not candidates:
        return Decision(Verdict.NONE, None, (Why.NOBODY_FITS,), ())
    doubts = _doubts(claim, people, fitting, link_person_id, policy)
    if doubts:
        return Decision(Verdict.REVIEW, None, doubts, candidates)
    reasons = next(c.reasons for c in candidates if c.person_id == fitting[0].id)
    return Decision(Verdict.AUTOMATIC, fitting[0].id, reasons, candidates)


def weigh(claim: Claim, person: Person, link_person_id: int | None) -> Candidate | None:
    """Compare a claim with one person; None when too little speaks for it to show a reader."""
    reasons = [_compare_birth_dates(claim.birth_date, person.birth_date)]
    reasons += _compare_names(claim, person)
    if link_person_id is not None:
        agrees = link_person_id == person.id
        reasons.append(Why.LINK_AGREES if agrees else Why.LINK_WAS_SOMEBODY_ELSES)
    weight = sum(WEIGHT.get(reason, 0) for reason in reasons)
    if weight < WORTH_SHOWING and link_person_id != person.id:
        return None
    return Candidate(person.id, weight, tuple(reasons))


def _fits(claim: Claim, person: Person) -> bool:
    return claim.birth_date == person.birth_date and bool(
        {Why.NAME_EQUAL, Why.NAME_IN_OTHER_ORDER} & set(_compare_names(claim, person))
    )


def _doubts(
    claim: Claim,
    people: list[Person],
    fitting: list[Person],
    link_person_id: int | None,
    policy: Policy,
) -> tuple[Why, ...]:
    if not fitting:
        return (Why.NOBODY_FITS,)
    if len(fitting) > 1:
        return (Why.MORE_THAN_ONE_FITS,)
    doubts = []
    one = fitting[0]
    if any(p.id != one.id and _similar(claim, p) for p in people):
        doubts.append(Why.SIMILAR_NAME_SAME_BIRTH_DATE)
    if link_person_id is not None and link_person_id != one.id:
        doubts.append(Why.LINK_WAS_SOMEBODY_ELSES)
    needs_link = policy == Policy.PERSONAL_LINK_ONLY and link_person_id != one.id
    if policy == Policy.NEVER or needs_link:
        doubts.append(Why.AUTOMATIC_SWITCHED_OFF)
    return tuple(doubts)


def _similar(claim: Claim, person: Person) -> bool:
    """Twins, or a parent and child born on one day: half of the name is the same or close."""
    if claim.birth_date != person.birth_date:
        return False
    different = {Why.GIVEN_NAME_DIFFERENT, Why.FAMILY_NAME_DIFFERENT}
    return not different >= set(_compare_names(claim, person))


def _compare_birth_dates(claimed: date, recorded: date) -> Why:
    if claimed == recorded:
        return Why.BIRTH_DATE_EQUAL
    exchanged = (claimed.year, claimed.day, claimed.month)
    if exchanged == (recorded.year, recorded.month, recorded.day):
        return Why.BIRTH_DATE_DAY_MONTH_EXCHANGED
    if DamerauLevenshtein.distance(f"{claimed:%Y%m%d}", f"{recorded:%Y%m%d}") == 1:
        return Why.BIRTH_DATE_CLOSE
    return Why.BIRTH_DATE_DIFFERENT


def _compare_names(claim: Claim, person: Person) -> list[Why]:
    given, family = name_tokens(claim.given_names), name_tokens(claim.family_names)
    their_given, their_family = name_tokens(person.given_names), name_tokens(person.family_names)
    if _same(given, their_given) and _same(family, their_family) and (given or family):
        return [Why.NAME_EQUAL]
    claimed_key = name_key(claim.given_names, claim.family_names)
    if claimed_key and claimed_key == name_key(person.given_names, person.family_names):
        return [Why.NAME_IN_OTHER_ORDER]
    # A part that neither has says nothing: two people of one name each are not alike for that.
    compared = [_compare_given(given, their_given)] if given or their_given else []
    return compared + ([_compare_family(family, their_family)] if family or their_family else [])


def _same(left: tuple[str, ...], right: tuple[str, ...]) -> bool:
    """Equal as words or written together: 'De La Cruz' and 'Delacruz'."""
    return left == right or "".join(left) == "".join(right)


def _compare_given(claimed: tuple[str, ...], recorded: tuple[str, ...]) -> Why:
    if _same(claimed, recorded):
        return Why.GIVEN_NAME_EQUAL
    if claimed and recorded and claimed[0] == recorded[0]:
        return Why.GIVEN_NAME_CLOSE
    if _close(claimed, recorded):
        return Why.GIVEN_NAME_CLOSE
    return Why.GIVEN_NAME_DIFFERENT


def _compare_family(claimed: tuple[str, ...], recorded: tuple[str, ...]) -> Why:
    if _same(claimed, recorded):
        return Why.FAMILY_NAME_EQUAL
    if set(claimed) & set(recorded):
        return Why.FAMILY_NAME_PART_OF_COMPOUND
    if _close(claimed, recorded):
        return Why.FAMILY_NAME_CLOSE
    return Why.FAMILY_NAME_DIFFERENT


def _close(left: tuple[str, ...], right: tuple[str, ...]) -> bool:
    return JaroWinkler.similarity("".join(left), "".join(right)) >= CLOSE
