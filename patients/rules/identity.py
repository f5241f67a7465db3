"""Whose submission is this?  decide() is the one rule that may match without a person.

It is read from the top: whoever fits in name and date of birth; then every doubt. One who fits
and no doubt is an automatic match; anything else goes to a person, with the candidates ranked by
the evidence (evidence.py). The weight of the evidence orders candidates and nothing else.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from itertools import chain, islice

from patients.rules.candidates import (
    LIKELY,
    MANY,
    NEAREST,
    Candidate,
    Compared,
    Comparison,
    Named,
    NameKind,
    PersonId,
    Register,
    as_candidate,
    compare,
    likely,
    with_link,
)
from patients.rules.date_likeness import NEARLY, Born, DateAlike, WrittenDate
from patients.rules.evidence import BIRTH_DAYS
from patients.rules.identity_keys import (
    exchanged_namesake_key,
    first_forms,
    namesake_key,
    namesake_keys,
    word_key,
    word_keys,
)
from patients.rules.identity_reasons import Why
from patients.rules.name_likeness import LONG_ENOUGH, Alike
from patients.rules.names import NormalName, bearing, joined, letters, normal_name
from patients.rules.names_beside import Beside, NameLikeness

# What callers outside need beside the rule.
__all__ = [
    "LIKELY",
    "Born",
    "Candidate",
    "Claim",
    "Decision",
    "NameKind",
    "Named",
    "PersonId",
    "Policy",
    "Register",
    "Verdict",
    "Why",
    "WrittenDate",
    "decide",
    "likely",
]


class Verdict(StrEnum):
    AUTOMATIC = "automatic"
    REVIEW = "review"
    NONE = "none"


class Policy(StrEnum):
    """What the programme allows to be matched without a person."""

    NAME_AND_BIRTH_DATE = "name_and_birth_date"
    PERSONAL_LINK_ONLY = "personal_link_only"
    NEVER = "never"


@dataclass(frozen=True)
class Claim:
    """The name and date of birth as they were typed; the date may be one that no calendar has."""

    given_names: str
    family_names: str
    birth_date: Born


@dataclass(frozen=True)
class Decision:
    """`person_id` is set for AUTOMATIC only; at most five candidates, the strongest first.

    With NONE there may be candidates too: the nearest ones, none of them likely.
    """

    verdict: Verdict
    person_id: PersonId | None
    reasons: tuple[Why, ...]
    candidates: tuple[Candidate, ...]


# A rule that may clear a patient: the first number is the design's; the others say how many bearers
# of a name make a likeness one that chance brings about (DEVELOPERS.md says how they were set).
EXPECTED_NAMESAKES = 0.001  # on the register, born on the same day
# Two of one family name born on one day are taken for twins, unless so many bear the name, or the
# word in common, that chance brings it about as well.
TWINS_NAME_BEARERS = 200
# A part of a family name says enough if at most so many on the register have it: of strangers,
# whom the limit on namesakes does not see, as many in a thousand have it as of patients.
PART_BEARERS = 5

MISSING = frozenset({Alike.MISSING, Alike.BOTH_MISSING})
UNLIKE = MISSING | {Alike.DIFFERENT, Alike.RESEMBLES}

WORTH_ASKING = -3.0  # bits: from here on a person should look whether somebody is meant
SHOWN = 5


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
    found = compare(name, claim.birth_date, register, link_person_id)
    fitting = _fitting(found)
    doubts = _doubts(
        _Asked(name, claim.birth_date, register, link_person_id, policy),
        found.compared,
        fitting,
    )
    if not found.all_of_the_day and fitting:
        doubts = (*doubts, Why.TOO_MANY_TO_COMPARE)
    candidates = _candidates(found, fitting, link_person_id)
    if not doubts:
        first = candidates[0]
        return Decision(Verdict.AUTOMATIC, first.person_id, first.reasons, candidates)
    meant = bool(fitting) or any(
        c.weight >= WORTH_ASKING or c.person_id == link_person_id for c in candidates
    )
    return Decision(Verdict.REVIEW if meant else Verdict.NONE, None, doubts, candidates)


def _candidates(
    found: Comparison, fitting: list[Compared], link_person_id: PersonId | None
) -> tuple[Candidate, ...]:
    """Who fits leads, never second to a rarer name; then the strongest, and whose link it was."""
    fits = {one.named.person_id for one in fitting}
    apart = fits | {link_person_id}
    nearest = found.best_of_each(
        one for one in found.compared if one.weight >= NEAREST and one.named.person_id not in apart
    )
    others = list(islice(nearest, SHOWN))
    if link_person_id is not None and link_person_id not in fits:
        of_the_link = (one for one in found.compared if one.named.person_id == link_person_id)
        others += islice(found.best_of_each(of_the_link), 1)
        others.sort(key=lambda one: -with_link(one, link_person_id))
    return tuple(as_candidate(one, link_person_id) for one in [*fitting, *others][:SHOWN])


def _fitting(found: Comparison) -> list[Compared]:
    """Who fits, the strongest first: each with the name that fits best.

    Which one that is, only the names say: the weight hangs on who else is on the register.
    """
    fits = [one for one in found.compared if one.dates is DateAlike.EQUAL and _fits(one)]
    best: dict[PersonId, int] = {}
    for one in fits:
        grade = _grade(one.names)
        best[one.named.person_id] = min(grade, best.get(one.named.person_id, grade))
    return list(
        found.best_of_each(one for one in fits if _grade(one.names) == best[one.named.person_id])
    )


def _grade(names: NameLikeness) -> int:
    if _is_exact(names):
        return 0
    return 1 if names.given == Alike.MIDDLE_NAME else 2


def _fits(one: Compared) -> bool:
    """The names agree beside one date: equal, but for one of the differences that people make."""
    return not one.names.generation_differs and (_is_exact(one.names) or _differs_once(one.names))


def _is_exact(names: NameLikeness) -> bool:
    return names.given == names.family == Alike.EQUAL


def _differs_once(names: NameLikeness) -> bool:
    """A middle name more or less; or one letter, or one part, of a family name."""
    if names.given == Alike.MIDDLE_NAME:
        return names.family == Alike.EQUAL
    once = names.given == Alike.EQUAL and names.family in (Alike.ONE_EDIT, Alike.PART)
    return once and not names.moved


@dataclass(frozen=True)
class _Asked:
    name: NormalName
    born: Born
    register: Register
    link_person_id: PersonId | None
    policy: Policy

    def bearers(self, *keys: int, but: Iterable[int] = ()) -> int:
        """How many have one of the keys: the greatest of the counts.

        `but`: keys of names that are not counted, once for each.
        """
        left_out = Counter(but)
        counts = self.register.bearers(keys, upto=MANY)
        return max((counts[key] - left_out[key] for key in counts), default=0)


def _doubts(asked: _Asked, compared: list[Compared], fitting: list[Compared]) -> tuple[Why, ...]:
    """Return everything that speaks against matching without a person."""
    if isinstance(asked.born, WrittenDate):
        return (Why.BIRTH_DATE_IMPOSSIBLE,)
    if not fitting:
        return (Why.NOBODY_FITS,)
    if len(fitting) > 1:
        return (Why.MORE_THAN_ONE_FITS,)
    one = fitting[0]
    exact = _is_exact(one.names)
    linked = asked.link_person_id == one.named.person_id
    own = [other.named.name for other in compared if other.named.person_id == one.named.person_id]
    doubts = [] if exact else _doubts_of_a_difference(asked, one, own)
    if _somebody_similar(asked, one.named, compared):
        doubts.append(Why.SIMILAR_NAME_SAME_BIRTH_DATE)
    if not (linked and exact):
        if _namesake_of_a_near_date(one.named, compared):
            doubts.append(Why.NAMESAKE_OF_A_NEAR_DATE)
        if _too_many_for_one_day(_namesakes(asked, one, own)):
            doubts.append(Why.NAME_TOO_COMMON)
    if asked.link_person_id is not None and not linked:
        doubts.append(Why.LINK_WAS_SOMEBODY_ELSES)
    if asked.policy == Policy.NEVER or (asked.policy == Policy.PERSONAL_LINK_ONLY and not linked):
        doubts.append(Why.AUTOMATIC_SWITCHED_OFF)
    return tuple(doubts)


def _namesake_of_a_near_date(one: Named, compared: list[Compared]) -> bool:
    """Somebody else who would fit, and may have slipped in the date; not a record merged in."""
    return any(
        other.dates in NEARLY and other.named.person_id != one.person_id and _fits(other)
        for other in compared
    )


def _somebody_similar(asked: _Asked, one: Named, compared: list[Compared]) -> bool:
    """Twins, or a parent and child under one date of birth.

    Like the name on record, or like the typed one: that may be as near to somebody else.
    """
    of_that_day = [
        other
        for other in compared
        if other.dates is DateAlike.EQUAL and other.named.person_id != one.person_id
    ]
    if any(UNLIKE.isdisjoint((other.names.given, other.names.family)) for other in of_that_day):
        return True
    others = [other.named.name for other in of_that_day]
    if not others:
        return False
    beside = Beside(one.name)
    beside.look_over(others)
    return any(
        _similar(asked, one.name, other, names)
        for other in others
        for names in beside.comparisons(other)
    )


def _similar(asked: _Asked, name: NormalName, other: NormalName, names: NameLikeness) -> bool:
    given, family = names.given, names.family
    if names.moved:
        given, family = family, given
    if family in UNLIKE:
        return family in MISSING and given not in UNLIKE
    if given not in MISSING | {Alike.DIFFERENT}:
        return True
    in_common = {joined(name.family)}
    if family in (Alike.PART, Alike.SHARED):
        in_common = _parts_in_common(name, other)
    return len(in_common) > 1 or asked.bearers(*map(word_key, in_common)) <= TWINS_NAME_BEARERS


def _parts_in_common(one: NormalName, other: NormalName) -> set[str]:
    return set(bearing(one.family)) & set(bearing(other.family))


def _doubts_of_a_difference(asked: _Asked, one: Compared, own: list[NormalName]) -> list[Why]:
    """One letter or one part off is a slip only in a long name, and if nobody else is called so.

    A stranger's name may be as near, so that date and given name alone must tell whose it is; nor
    is a part enough that many bear. `own`: every name of who fits.
    """
    if one.names.family not in (Alike.ONE_EDIT, Alike.PART):
        return []
    if min(map(letters, (asked.name.family, one.named.name.family))) < LONG_ENOUGH:
        return [Why.SHORT_NAME_DIFFERS]
    if _too_many_for_one_day(asked.bearers(word_key(joined(asked.name.given))) - 1):
        return [Why.GIVEN_NAME_TOO_COMMON]
    if one.names.family == Alike.ONE_EDIT:
        typed = word_key(joined(asked.name.family))
        others = asked.bearers(typed, but=chain.from_iterable(map(word_keys, own)))
        return [Why.SOMEBODY_HAS_THE_TYPED_NAME] if others else []
    if _namesakes(asked, one, own):
        return [Why.SOMEBODY_SHARES_THE_PART]
    parts = _parts_in_common(asked.name, one.named.name)
    if all(asked.bearers(word_key(part)) > PART_BEARERS for part in parts):
        return [Why.PART_TOO_COMMON]
    return []


def _too_many_for_one_day(others: int) -> bool:
    """More others of a name than EXPECTED_NAMESAKES allows to be born on one day."""
    return others / BIRTH_DAYS > EXPECTED_NAMESAKES


def _namesakes(asked: _Asked, one: Compared, own: list[NormalName]) -> int:
    """How many others have the first given name and the family name, or the part in common.

    As it is on record or as it was typed, whichever are more: "Min-jun" and "Minjun" are one name.
    """
    families = set()
    if one.names.family == Alike.PART:
        families = _parts_in_common(asked.name, one.named.name)
    own_keys = [key for name in own for key in namesake_keys(name)]
    most = 0
    for name in (one.named.name, asked.name):
        keys = {
            namesake_key(first, family)
            for first in first_forms(name.given)
            for family in families | {joined(name.family)}
        }
        exchanged = exchanged_namesake_key(name)  # who was enrolled in the wrong fields
        straight = asked.bearers(*keys, but=own_keys)
        most = max(most, straight + asked.bearers(exchanged, but=own_keys))
    return most
