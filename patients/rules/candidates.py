"""Who on the register could be meant?  Found by keys, weighed by the evidence, strongest first.

Nothing here decides; `identity.decide` reads what is found.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from heapq import nsmallest
from itertools import accumulate, groupby
from math import log, log2
from operator import attrgetter
from typing import NamedTuple, Protocol

from rapidfuzz.distance import JaroWinkler

from patients.rules.date_likeness import Born, BornBeside, DateAlike, digits_in_common
from patients.rules.evidence import DATE_BITS, FEW, LINK_AGREES, LINK_DISAGREES, NameBits
from patients.rules.identity_keys import (
    asked_first,
    asked_second,
    exchanged_namesake_key,
    namesake_keys,
    word_key,
)
from patients.rules.identity_reasons import Why, why_alike
from patients.rules.names import NormalName, joined
from patients.rules.names_beside import Beside, NameLikeness

MOST_COMPARED = 2000
MANY = 5000  # bearers of a name are counted no further
# Names that a second look finds, those of the rarest keys; and how many of them are compared, those
# with the most keys in common and the rarest. Without a date of birth all: only names tell then.
SECOND_LOOK, NEAREST_BY_KEYS = 100, 8
SECOND_LOOK_WITHOUT_DATE = 150

# Bits. At or above LIKELY a pair is taken for one person; below NEAREST nobody is shown.
LIKELY = -2.0
STRONG = 6.0  # one of the first pass makes a second needless
NEAREST = -16.0

PersonId = int | str


class NameKind(StrEnum):
    """Which of a patient's names it is."""

    CURRENT = "current"
    FORMER = "former"
    PREFERRED = "preferred"


class Named(NamedTuple):
    """One name of one person on the register, in normal form; `id` is the name's own."""

    id: int
    person_id: PersonId
    kind: NameKind
    name: NormalName
    born: Born


class Register(Protocol):
    """Where candidates come from: the database (patients/lookup.py), or memory (in_memory.py)."""

    @property
    def people(self) -> int:
        """How many people are on it, near enough for a logarithm."""

    def named(self, keys: Collection[int], *, counting: Mapping[int, int]) -> Sequence[Named]:
        """Return the names that have one of the keys, at most MOST_COMPARED.

        `counting`: what `bearers` will be asked about and how far, counted on the way.
        """

    def of(self, person_id: PersonId) -> Sequence[Named]:
        """Return the names of one person."""

    def nearest(self, weights: Mapping[int, int], *, most: int) -> Sequence[Named]:
        """Return the names that are `nearest_by_keys`, by what the keys weigh that they have."""

    def bearers(self, keys: Collection[int], *, upto: int) -> dict[int, int]:
        """Count the names that have each key, no further than `upto`."""


class Compared(NamedTuple):
    """A name on the register beside the typed one; `weight` in bits, without the link."""

    named: Named
    names: NameLikeness
    dates: DateAlike
    weight: float


_weight = attrgetter("weight")


class Comparison(NamedTuple):
    """Everybody who was compared; `all_of_the_day` is False if they were too many to compare."""

    name: NormalName
    born: Born
    compared: list[Compared]
    all_of_the_day: bool

    def best_of_each(self, some: Iterable[Compared]) -> Iterator[Compared]:
        """Yield for each person the name that speaks most for it, the strongest person first.

        Of two who weigh the same, first the one whose date has more digits in common, then the one
        whose name is spelled more alike.
        """
        seen: set[PersonId] = set()
        heaviest_first = sorted(some, key=_weight, reverse=True)
        for _, weighing_the_same in groupby(heaviest_first, key=_weight):
            equal = list(weighing_the_same)
            for one in sorted(equal, key=self._order) if len(equal) > 1 else equal:
                if one.named.person_id not in seen:
                    seen.add(one.named.person_id)
                    yield one

    def _order(self, one: Compared) -> tuple[int, float, str, bool, NormalName]:
        _, person_id, kind, name, born = one.named
        spelled_alike = JaroWinkler.similarity(self.name.given, name.given)
        spelled_alike += JaroWinkler.similarity(self.name.family, name.family)
        digits = digits_in_common(self.born, born)
        return -digits, -spelled_alike, str(person_id), kind != NameKind.CURRENT, name


@dataclass(frozen=True)
class Candidate:
    """A person with the evidence for and against.

    `weight`: bits for one and the same person, against one chance among everybody on the register.
    """

    person_id: PersonId
    weight: float
    reasons: tuple[Why, ...]


def likely(name: NormalName, born: Born, register: Register) -> tuple[Candidate, ...]:
    """Return everybody on the register who is taken for the person of this name, strongest first.

    The person is not on that register: to look for duplicates, leave out the record that asks.
    """
    found = compare(name, born, register, None)
    enough = (one for one in found.compared if one.weight >= LIKELY)
    return tuple(as_candidate(one, None) for one in found.best_of_each(enough))


def compare(
    name: NormalName, born: Born, register: Register, link_person_id: PersonId | None
) -> Comparison:
    """Compare a claim with everybody who could be meant: first by date, then by name alone."""
    given, family = word_key(joined(name.given)), word_key(joined(name.family))
    # The rule will ask about the namesakes, and a register remembers what it counted.
    exact = {given, family, *namesake_keys(name), exchanged_namesake_key(name)}
    wider = asked_second(name, born)
    look, most = SECOND_LOOK, NEAREST_BY_KEYS
    if born is None:
        look = most = SECOND_LOOK_WITHOUT_DATE
    counting = dict.fromkeys(wider, look) | dict.fromkeys(exact, MANY)
    found = register.named(asked_first(name, born), counting=counting)
    bearers, people = register.bearers(exact, upto=MANY), register.people
    bits = NameBits(name, bearers[given], bearers[family], people)
    weighed = _Weighing(name, born, bits, people)
    weighed.add(found)
    if link_person_id is not None:
        weighed.add(register.of(link_person_id))
    if weighed.strongest() < STRONG:
        weights = rarest_keys(register.bearers(wider, upto=look), people, upto=look)
        weighed.add(register.nearest(weights, most=most))
    compared = list(weighed.compared.values())
    return Comparison(name, born, compared, len(found) < MOST_COMPARED)


def rarest_keys(shared_by: Mapping[int, int], people: int, *, upto: int) -> dict[int, int]:
    """Return the keys that the fewest names share, with how much each says.

    As many keys as the names behind them, a name counted once for each, are fewer than `upto`.
    `shared_by`: how many names have each key. What a key says: hundredths of the natural logarithm
    of its rarity, in whole numbers, so that sums of them are equal in every order.
    """
    keys = sorted(filter(shared_by.get, shared_by), key=lambda key: (shared_by[key], key))
    together = accumulate(shared_by[key] for key in keys)
    return {
        key: round(100 * log(max(people, FEW) / shared_by[key]))
        for key, names in zip(keys, together, strict=True)
        if names < upto
    }


def nearest_by_keys(weights: Mapping[int, int], *, most: int) -> list[int]:
    """Return the `most` heaviest of these names, the first on the register among equal ones."""
    return nsmallest(most, weights, key=lambda name_id: (-weights[name_id], name_id))


class _Weighing:
    """One claim against names of the register, each weighed once."""

    def __init__(self, name: NormalName, born: Born, bits: NameBits, people: int) -> None:
        self._beside, self._dates, self._bits = Beside(name), BornBeside(born), bits
        self._chance = log2(max(people, 1))
        self.compared: dict[int, Compared] = {}

    def add(self, found: Iterable[Named]) -> None:
        """Weigh the names that are new."""
        unseen = [named for named in found if named.id not in self.compared]
        self._beside.look_over([named.name for named in unseen])
        self._dates.look_over([named.born for named in unseen])
        comparisons, dates_of, bits_of = self._beside.comparisons, self._dates, self._bits
        new = tuple.__new__  # quicker than the class, which matters among hundreds
        for named in unseen:
            dates = dates_of[named.born]
            ways = comparisons(named.name)
            names = ways[0]
            bits = bits_of[names]
            if len(ways) > 1:
                bits, names = max((bits_of[names], names) for names in ways)
            weight = bits + DATE_BITS[dates] - self._chance
            self.compared[named.id] = new(Compared, (named, names, dates, weight))

    def strongest(self) -> float:
        """Return the weight of the strongest so far."""
        return max((one.weight for one in self.compared.values()), default=NEAREST)


def with_link(one: Compared, link_person_id: PersonId | None) -> float:
    """Return the bits with the personal link as one more witness, if there was one."""
    if link_person_id is None:
        return one.weight
    return one.weight + (LINK_AGREES if one.named.person_id == link_person_id else LINK_DISAGREES)


def as_candidate(one: Compared, link_person_id: PersonId | None) -> Candidate:
    """Put a compared name into what people read; a personal link agrees or disagrees."""
    reasons = why_alike(one.names, one.dates, one.named.kind)
    if link_person_id is not None:
        agrees = one.named.person_id == link_person_id
        reasons = (*reasons, Why.LINK_AGREES if agrees else Why.LINK_WAS_SOMEBODY_ELSES)
    return Candidate(one.named.person_id, with_link(one, link_person_id), reasons)
