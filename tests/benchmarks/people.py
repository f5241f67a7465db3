"""Invented people: a register, and claims of which it is known whose they are.

    .venv/bin/python -m tests.benchmarks.people --people 10000 --seed 101 --into FOLDER

The same seed always gives the same people. Seeds 1 to 5 were for tuning the engine. Those
that judge it (521 to 525) were not looked at before; others judged it until somebody among their
people led to a stricter rule (identity.py says which). The command writes register.csv,
claims.csv and truth.csv as `manage.py rehearse_matching` reads them, and kinds.csv, which says of
each claim what was done to it.

On the register are twins, namesakes, parents and children of one name, and families. A claim is
a patient's, with his name or date of birth typed in one of the ways of mistyped.py, or that of a
stranger who is not on record: anybody, or, on purpose, a relative, a namesake, or somebody of the
same date of birth.
"""

import argparse
import csv
import random
from bisect import bisect
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from itertools import accumulate
from math import exp
from pathlib import Path
from typing import Any, NamedTuple

from tests.benchmarks.composed_names import draw_name, without_accents
from tests.benchmarks.mistyped import DATES, FORM, SLIPS, Typed, near_date, other_given

TUNING_SEEDS = (1, 2, 3, 4, 5)
JUDGING_SEEDS = (521, 522, 523, 524, 525)

# Adults: born over sixty years, most of them around 1980.
FIRST_YEAR, LAST_YEAR = 1948, 2007
_YEARS = list(
    accumulate(0.35 + exp(-(((y - 1980) / 13) ** 2) / 2) for y in range(FIRST_YEAR, LAST_YEAR + 1))
)

# Out of one person who is put on the register, with these chances, more come:
TWIN, NAMESAKE, CHILD_OF_ONE_NAME, FAMILY = 0.0015, 0.004, 0.001, 0.03
ALIKE_TWINS = 0.4  # of twins, whose given names begin alike


class Group(StrEnum):
    """What is asked of the engine depends on the group that a claim is in."""

    FORM = "form only"
    SLIP = "slip"
    DATE = "date typed wrong"
    COMBINED = "slip and date"
    TWIN = "twin"
    STRANGER = "stranger"


class Patient(NamedTuple):
    """A row of the register."""

    patient_id: int
    given_name: str
    family_name: str
    date_of_birth: date


class Asked(NamedTuple):
    """A claim; `patient_id` is the truth, None for a stranger. `kind` says what was done."""

    claim_id: int
    group: Group
    kind: str
    given_name: str
    family_name: str
    date_of_birth: date
    patient_id: int | None
    # Patients of the claimant's date of birth and name, or what was typed of it, but for a middle
    # name that may be dropped or added: no rule can tell them apart.
    doubles: tuple[int, ...]


@dataclass(frozen=True)
class Town:
    """Everybody that one seed makes."""

    register: list[Patient]
    claims: list[Asked]


def make(people: int, claims: int, seed: int) -> Town:
    """Return a register of `people` patients, and `claims` claims on it."""
    rng = random.Random(seed)
    persons, twins = _persons(rng, people)
    ids = list(range(1, people + 1))
    rng.shuffle(ids)
    register = sorted(
        Patient(number, person.given, person.family, person.born)
        for number, person in zip(ids, persons, strict=True)
    )
    # Asked in a different order than made, so that relatives do not stand side by side.
    return Town(register, _Claims(rng, persons, ids, twins).made(claims))


def _persons(rng: random.Random, people: int) -> tuple[list[Typed], dict[int, int]]:
    """Return the persons, and of each twin the place of the other."""
    persons: list[Typed] = []
    twins: dict[int, int] = {}
    while len(persons) < people:
        one = anybody(rng)
        persons.append(one)
        chance = rng.random()
        if chance < TWIN:
            twins |= {len(persons) - 1: len(persons), len(persons): len(persons) - 1}
            persons.append(twin_of(rng, one))
        elif (chance := chance - TWIN) < NAMESAKE:
            born = near_date(rng, one.born) if rng.random() < 0.1 else birth_date(rng)
            persons.append(one._replace(born=born))
        elif (chance := chance - NAMESAKE) < CHILD_OF_ONE_NAME:
            persons.append(one._replace(born=of_the_next_generation(rng, one.born)))
        elif chance - CHILD_OF_ONE_NAME < FAMILY:
            persons += [relative_of(rng, one) for _ in range(rng.choice((1, 1, 2, 3)))]
    for lost in range(people, len(persons)):
        twins.pop(twins.pop(lost, -1), None)
    return persons[:people], twins


def anybody(rng: random.Random) -> Typed:
    """Return one more person of the population."""
    named = draw_name(rng)
    return Typed(named.given, named.family, birth_date(rng), named.female, named.tradition)


def birth_date(rng: random.Random) -> date:
    """Return the date of birth of an adult."""
    year = FIRST_YEAR + bisect(_YEARS, rng.random() * _YEARS[-1])
    return date(year, 1, 1) + timedelta(days=rng.randrange(365))


def twin_of(rng: random.Random, one: Typed) -> Typed:
    """Return a twin: the same family name and date of birth."""
    alike = rng.random() < ALIKE_TWINS
    female = one.female if alike or rng.random() < 0.6 else not one.female
    return one._replace(given=other_given(rng, one, alike=alike, female=female), female=female)


def relative_of(rng: random.Random, one: Typed) -> Typed:
    """Return a spouse, brother, sister, parent or child who bears the same family name."""
    female = rng.random() < 0.6
    given = other_given(rng, one, alike=rng.random() < 0.15, female=female)
    born = birth_date(rng) if rng.random() < 0.6 else of_the_next_generation(rng, one.born)
    return one._replace(given=given, female=female, born=born)


def of_the_next_generation(rng: random.Random, born: date) -> date:
    """Return a parent's or a child's date of birth; one in ten has the birthday in common."""
    years = rng.randint(18, 40)
    year = born.year + years if born.year + years <= LAST_YEAR else born.year - years
    if rng.random() < 0.1 and (born.month, born.day) != (2, 29):
        return born.replace(year=year)
    return date(year, 1, 1) + timedelta(days=rng.randrange(365))


# How many claims in a hundred there are of each kind. What is common at a reception desk comes
# often enough, what is rare comes often enough to be counted: a judgement, not a measurement.
FORM_SHARES = {"as on record": 9.0, "one": 26.0, "two": 10.0}
SLIP_SHARES = {
    **{"given_name_letter": 4.0, "family_name_letter": 5.0, "letter_in_both": 2.0},
    **{"two_letters": 2.0, "short_form": 4.0, "married": 2.0, "married_joined": 1.5},
    **{"one_part": 1.5, "other_letters": 0.5},
}
DATE_SHARES = {"day_month": 3.0, "one_digit": 3.5, "two_digits": 2.0, "wrong_year": 2.5}
COMBINED_SHARES = {
    **{"form": 1.5, "given_name_letter": 1.0, "family_name_letter": 1.0, "short_form": 0.5}
}
STRANGER_SHARES = {
    **{"anybody": 8.0, "relative": 2.5, "twin": 1.0, "child of one name": 1.0, "namesake": 2.0},
    **{"namesake of a near date": 1.0, "same date, same given name": 1.0},
    **{"same date, same family name": 0.5, "same date": 0.5},
}
TWIN_SHARES = {"as on record": 1.0, "one": 0.7, "given_name_letter": 0.3}
_EVERY_KIND = [
    *((Group.FORM, kind, share) for kind, share in FORM_SHARES.items()),
    *((Group.SLIP, kind, share) for kind, share in SLIP_SHARES.items()),
    *((Group.DATE, kind, share) for kind, share in DATE_SHARES.items()),
    *((Group.COMBINED, kind, share) for kind, share in COMBINED_SHARES.items()),
    *((Group.TWIN, kind, share) for kind, share in TWIN_SHARES.items()),
    *((Group.STRANGER, kind, share) for kind, share in STRANGER_SHARES.items()),
]
# Of the slips and wrong dates, how many are typed in another form as well.
ALSO_IN_ANOTHER_FORM = 0.15


class _Claims:
    """Draws claims on one register."""

    def __init__(
        self, rng: random.Random, persons: list[Typed], ids: list[int], twins: dict[int, int]
    ) -> None:
        self.rng, self.persons, self.ids = rng, persons, ids
        self.twins = list(twins)
        self._twins = twins
        self._same: dict[tuple[str, date], list[int]] = {}
        self._but_for_a_middle_name: dict[tuple[str, date], list[int]] = {}
        for number, person in zip(ids, persons, strict=True):
            self._same.setdefault(_face(person), []).append(number)
            if (short := _without_middle_name(person)) is not None:
                self._but_for_a_middle_name.setdefault(_face(short), []).append(number)

    def made(self, count: int) -> list[Asked]:
        """Return `count` claims, numbered from 1."""
        kinds = self.rng.choices(
            [(group, kind) for group, kind, _ in _EVERY_KIND],
            weights=[share for _, _, share in _EVERY_KIND],
            k=count,
        )
        return [
            self._asked(claim_id, group, kind)
            for claim_id, (group, kind) in enumerate(kinds, start=1)
        ]

    def _asked(self, claim_id: int, group: Group, kind: str) -> Asked:
        while True:
            if group == Group.STRANGER:
                place, person = None, self._stranger(kind)
            else:
                place = self._place(group)
                person = self.persons[place]
            made = self._typed(group, kind, person)
            if made is not None:
                break
        told, typed = made
        patient_id = None if place is None else self.ids[place]
        # Both who it is and what was typed may be another's.
        doubles = self._alike(person) | self._alike(typed)
        return Asked(
            *(claim_id, group, told, typed.given, typed.family, typed.born, patient_id),
            tuple(sorted(doubles - {patient_id})),
        )

    def _alike(self, person: Typed) -> set[int]:
        """Return the patients of this name and date of birth, but for a middle name that one of the
        two has: to drop or add it is a difference of form.
        """
        face, short = _face(person), _without_middle_name(person)
        alike = {*self._same.get(face, ()), *self._but_for_a_middle_name.get(face, ())}
        return alike if short is None else alike | {*self._same.get(_face(short), ())}

    def _place(self, group: Group) -> int:
        """Twins claim as a group of their own: no rule may match one of them by itself."""
        if group == Group.TWIN and self.twins:
            return self.rng.choice(self.twins)
        while True:
            place = self.rng.randrange(len(self.persons))
            if place not in self._twins:
                return place

    def _typed(self, group: Group, kind: str, person: Typed) -> tuple[str, Typed] | None:
        rng = self.rng
        if group == Group.FORM or kind in ("as on record", "one"):
            ways = {"as on record": 0, "one": 1, "two": 2}[kind]
            return self._other_form(person, ways) if ways else (kind, person)
        if group == Group.STRANGER:
            if rng.random() < 0.5:
                return kind, person
            # A middle name that somebody keeps to himself would make two Marías into one.
            other = self._other_form(person, 1, without="middle_name")
            return (kind, other[1]) if other else None
        typed: Typed | None = person
        if group == Group.COMBINED:
            typed = rng.choice(list(DATES.values()))(rng, person)
        if typed is not None and kind == "form":
            other = self._other_form(typed, 1)
            return (kind, other[1]) if other else None
        typed = typed and {**SLIPS, **DATES}[kind](rng, typed)
        if typed is not None and rng.random() < ALSO_IN_ANOTHER_FORM:
            other = self._other_form(typed, 1)
            return (f"{kind}, other form", other[1]) if other else None
        return (kind, typed) if typed is not None else None

    def _other_form(
        self, person: Typed, ways: int, *, without: str = ""
    ) -> tuple[str, Typed] | None:
        """Change the form in so many of the ways that change this name."""
        fitting = [n for n in FORM if n != without and FORM[n](self.rng, person) is not None]
        if len(fitting) < ways:
            return None
        chosen = self.rng.sample(fitting, ways)
        typed: Typed | None = person
        for name in FORM:
            if name in chosen and typed is not None:
                typed = FORM[name](self.rng, typed)
        return (chosen[0] if ways == 1 else "two ways", typed) if typed is not None else None

    def _stranger(self, kind: str) -> Typed:
        rng = self.rng
        patient, other = self.persons[self._place(Group.STRANGER)], anybody(rng)
        ways: dict[str, Callable[[], Typed]] = {
            "anybody": lambda: other,
            "relative": lambda: relative_of(rng, patient),
            "twin": lambda: twin_of(rng, patient),
            "child of one name": lambda: patient._replace(
                born=of_the_next_generation(rng, patient.born)
            ),
            "namesake": lambda: patient._replace(born=other.born),
            "namesake of a near date": lambda: patient._replace(born=near_date(rng, patient.born)),
            "same date, same given name": lambda: other._replace(
                given=patient.given, born=patient.born
            ),
            "same date, same family name": lambda: other._replace(
                family=patient.family, born=patient.born
            ),
            "same date": lambda: other._replace(born=patient.born),
        }
        return ways[kind]()


def _without_middle_name(person: Typed) -> Typed | None:
    """Return the person by the first given name alone; None if there is no other."""
    first, _, others = person.given.partition(" ")
    return person._replace(given=first) if others else None


def _face(person: Typed) -> tuple[str, date]:
    """What of a person is left when all differences of form are taken away."""
    words = without_accents(f"{person.given} {person.family}").lower()
    letters = "".join(char if char.isalnum() else " " for char in words if char != "'")
    return " ".join(sorted(letters.split())), person.born


def write(town: Town, folder: Path) -> None:
    """Write register.csv, claims.csv, truth.csv and kinds.csv."""
    columns = ("given_name", "family_name", "date_of_birth")
    _write(folder / "register.csv", ("patient_id", *columns), town.register)
    _write(
        folder / "claims.csv",
        ("claim_id", *columns),
        (
            (asked.claim_id, asked.given_name, asked.family_name, asked.date_of_birth)
            for asked in town.claims
        ),
    )
    truth = ((asked.claim_id, asked.patient_id or "") for asked in town.claims)
    _write(folder / "truth.csv", ("claim_id", "patient_id"), truth)
    kinds = ((asked.claim_id, asked.group, asked.kind) for asked in town.claims)
    _write(folder / "kinds.csv", ("claim_id", "group", "kind"), kinds)


def _write(path: Path, header: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(header)
        writer.writerows(rows)


def main() -> None:
    """Write the files of one seed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--people", type=int, default=10_000)
    parser.add_argument("--claims", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=TUNING_SEEDS[0])
    parser.add_argument("--into", type=Path, required=True)
    options = parser.parse_args()
    options.into.mkdir(parents=True, exist_ok=True)
    write(make(options.people, options.claims, options.seed), options.into)


if __name__ == "__main__":
    main()
