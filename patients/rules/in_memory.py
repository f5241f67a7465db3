"""A register in memory: for rehearsals, tests and benchmarks.  It finds what the database finds."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from patients.rules.candidates import (
    MOST_COMPARED,
    Named,
    NameKind,
    PersonId,
    nearest_by_keys,
)
from patients.rules.date_likeness import Born
from patients.rules.identity_keys import keys_of
from patients.rules.names import normal_name


@dataclass(frozen=True)
class Person:
    """A person as a register writes one."""

    id: PersonId
    given_names: str
    family_names: str
    birth_date: Born
    kind: NameKind = NameKind.CURRENT


class InMemoryRegister:
    """People by key. A person may be given several times, once for each name."""

    def __init__(self, people: Iterable[Person]) -> None:
        self._named: list[Named] = []
        self._by_key: dict[int, list[int]] = defaultdict(list)
        self._by_person: dict[PersonId, list[int]] = defaultdict(list)
        for place, person in enumerate(sorted(people, key=_by_id)):
            name = normal_name(person.given_names, person.family_names)
            self._named.append(Named(place, person.id, person.kind, name, person.birth_date))
            self._by_person[person.id].append(place)
            for key in keys_of(name, person.birth_date):
                self._by_key[key].append(place)

    @property
    def people(self) -> int:
        """How many people there are."""
        return len(self._by_person)

    def named(self, keys: Collection[int], *, counting: Mapping[int, int]) -> Sequence[Named]:
        """Return the names that have one of the keys, at most MOST_COMPARED."""
        places = {place for key in keys for place in self._by_key.get(key, ())}
        return [self._named[place] for place in sorted(places)[:MOST_COMPARED]]

    def nearest(self, weights: Mapping[int, int], *, most: int) -> Sequence[Named]:
        """Return the names that are `nearest_by_keys`, by what the keys weigh that they have."""
        weighed: dict[int, int] = defaultdict(int)
        for key, weight in weights.items():
            for place in self._by_key.get(key, ()):
                weighed[place] += weight
        return [self._named[place] for place in sorted(nearest_by_keys(weighed, most=most))]

    def of(self, person_id: PersonId) -> Sequence[Named]:
        """Return the names of one person."""
        return [self._named[place] for place in self._by_person.get(person_id, ())]

    def bearers(self, keys: Collection[int], *, upto: int) -> dict[int, int]:
        """Count the names that have each key, no further than `upto`."""
        return {key: min(len(self._by_key.get(key, ())), upto) for key in keys}


def _by_id(person: Person) -> tuple[int, str]:
    """The order of a register says nothing: what is cut short is cut in the order of the ids."""
    return (person.id, "") if isinstance(person.id, int) else (0, person.id)
