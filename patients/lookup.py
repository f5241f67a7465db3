"""Find the patients that a typed name and date of birth could mean, and ask the rule."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import cache
from itertools import count
from typing import Any

from django.db import DEFAULT_DB_ALIAS, connections

from patients.kept_plans import rows_of
from patients.models import Patient
from patients.prepared import numbered
from patients.rules.candidates import MOST_COMPARED
from patients.rules.identity import (
    Candidate,
    Claim,
    Decision,
    Named,
    NameKind,
    PersonId,
    Policy,
    Why,
    decide,
    likely,
)
from patients.rules.identity_reasons import BY_NAME
from patients.rules.names import NormalName

# One text for each question, whatever the number of keys: PostgreSQL plans it once.
NAMES = (
    "SELECT n.id, n.patient_id, n.kind, n.given, n.family, n.generation, n.birth_date "
    "FROM patients_matchname n WHERE n."
)
# Keys are sent as one text; keys with a number to each, as two.
ONE_OF = {
    "postgresql": "= ANY(%s::bigint[])",
    "sqlite": "IN (SELECT value FROM json_each(%s))",
}
NUMBERED = {
    "postgresql": "unnest(%s::bigint[], %s::integer[]) AS asked(key, number)",
    "sqlite": "(SELECT k.value AS key, n.value AS number FROM json_each(%s) k "
    "JOIN json_each(%s) n ON n.key = k.key) asked",
}
OF_KEY = "FROM patients_matchkey m WHERE m.key"
# The ids of the names that have one of the keys; of those that are `candidates.nearest_by_keys`.
WITH_KEY = {vendor: f"SELECT m.name_id {OF_KEY} {one_of}" for vendor, one_of in ONE_OF.items()}
NEAREST = {
    vendor: f"SELECT m.name_id FROM {asked} JOIN patients_matchkey m ON m.key = asked.key "
    "GROUP BY m.name_id ORDER BY sum(asked.number) DESC, m.name_id LIMIT %s"
    for vendor, asked in NUMBERED.items()
}
# PostgreSQL finds the ids first when they are made a list of.
AMONG = {"postgresql": "= ANY(ARRAY({ids}))", "sqlite": "IN ({ids})"}
# How many names have the key asked about, no further than its number.
COUNT = {
    "postgresql": f"SELECT count(*) FROM (SELECT {OF_KEY} = asked.key LIMIT asked.number) bounded",
    "sqlite": f"SELECT min(asked.number, count(*)) {OF_KEY} = asked.key",
}
# The highest id of a patient: near enough to their number for a logarithm, and known at once.
PEOPLE = "SELECT max(id), NULL, NULL, NULL, NULL, NULL, NULL FROM patients_patient"


def _names(vendor: str, ids: str) -> str:
    return f"{NAMES}id {AMONG[vendor].format(ids=ids)} ORDER BY n.id"


BY_PATIENT = dict.fromkeys(ONE_OF, f"{NAMES}patient_id = %s ORDER BY n.id")
NEAREST_NAMES = {vendor: _names(vendor, ids) for vendor, ids in NEAREST.items()}
COUNTS = {
    vendor: f"SELECT ({COUNT[vendor]}), asked.key, NULL, NULL, NULL, NULL, NULL FROM {asked}"
    for vendor, asked in NUMBERED.items()
}
# What one claim asks first, in one query: names, counts, and the number of people.
FIRST = {
    vendor: f"SELECT * FROM ({_names(vendor, ids)} LIMIT {MOST_COMPARED}) found"
    f" UNION ALL {COUNTS[vendor]} UNION ALL {PEOPLE}"
    for vendor, ids in WITH_KEY.items()
}


def whose(claim: Claim, *, link_patient_id: int | None, policy: Policy) -> Decision:
    """Ask the identity rule about a claim, with everybody on the register who could fit.

    Indexed look-ups only: one query, and one more when nobody likely is found at first; rarely one
    that counts the bearers of a name, or of a part, that many have.
    """
    return decide(claim, OnRecord(), link_person_id=link_patient_id, policy=policy)


def likely_same(patient: Patient) -> list[tuple[int, float, tuple[Why, ...]]]:
    """Return the other patients who may be the same person: id, weight in bits, reasons.

    Strongest first, all at or above LIKELY. Asked for each name that the patient goes by: the
    other record may have been made under a former one.
    """
    others = OnRecord(without=patient.pk)
    best: dict[PersonId, Candidate] = {}
    for own in others.of(patient.pk):
        for found in likely(own.name, own.born, others):
            known = best.get(found.person_id)
            if known is None or known.weight < found.weight:
                best[found.person_id] = _by_own_name(found, own.kind)
    ranked = sorted(best.values(), key=lambda c: (-c.weight, c.person_id))
    return [(int(c.person_id), c.weight, c.reasons) for c in ranked]


def _by_own_name(found: Candidate, kind: NameKind) -> Candidate:
    """Say so when it is by the asking patient's other name that the two are alike."""
    by = BY_NAME.get(kind)
    if by is None or by in found.reasons:
        return found
    return replace(found, reasons=(*found.reasons, by))


class OnRecord:
    """The register in the database, as the rule asks for it (`identity.Register`).

    `without`: a patient who is left out, when the others are looked for.
    """

    def __init__(self, without: int = 0) -> None:
        self._without = without
        self._counted: dict[int, tuple[int, int]] = {}  # how many, and counted how far
        self._people: int | None = None

    @property
    def people(self) -> int:
        """The highest id: near enough to their number for a logarithm, and known at once."""
        if self._people is None:
            self._people = int(_fetch(dict.fromkeys(FIRST, PEOPLE))[0][0] or 0)
        return self._people

    def named(self, keys: Collection[int], *, counting: Mapping[int, int]) -> Sequence[Named]:
        """Return the names that have one of the keys, at most MOST_COMPARED; count on the way."""
        names = []
        for row in _fetch(FIRST, keys, counting, counting.values()):
            number, key, kind = row[:3]
            if kind is not None:
                names.append(row)
            elif key is not None:
                self._counted[key] = number, counting[key]
            else:
                self._people = number or 0
        return self._others(names)

    def nearest(self, weights: Mapping[int, int], *, most: int) -> Sequence[Named]:
        """Return the names that are `nearest_by_keys`, by what the keys weigh that they have."""
        return self._others(_fetch(NEAREST_NAMES, weights, weights.values(), most))

    def of(self, person_id: PersonId) -> Sequence[Named]:
        """Return the names of one patient."""
        return _named(_fetch(BY_PATIENT, int(person_id)))

    def bearers(self, keys: Collection[int], *, upto: int) -> dict[int, int]:
        """Count the names that have each key, no further than `upto`; each key once."""
        new = [key for key in keys if not self._knows(key, upto)]
        if new:
            for number, key, *_ in _fetch(COUNTS, new, [upto] * len(new)):
                self._counted[key] = number, upto
        return {key: min(self._counted[key][0], upto) for key in keys}

    def _knows(self, key: int, upto: int) -> bool:
        number, counted_to = self._counted.get(key, (0, 0))
        return number < counted_to or upto <= counted_to

    def _others(self, rows: Iterable[tuple[Any, ...]]) -> list[Named]:
        return [one for one in _named(rows) if one.person_id != self._without]


def _fetch(query: Mapping[str, str], *values: int | str | Iterable[int]) -> list[tuple[Any, ...]]:
    """Run a query; PostgreSQL keeps its plan, which spares most of the time.

    Several keys go over as one text, which is quickest to send: an array there, or JSON.
    """
    database = connections[DEFAULT_DB_ALIAS]
    listed = "{%s}" if database.vendor == "postgresql" else "[%s]"
    sent = [v if isinstance(v, (int, str)) else listed % ",".join(map(str, v)) for v in values]
    return rows_of(database, _statement(database.vendor, query[database.vendor]), sent)


@cache
def _statement(vendor: str, query: str) -> str:
    return numbered(query, count())[0] if vendor == "postgresql" else query


def _named(rows: Iterable[tuple[Any, ...]]) -> list[Named]:
    new = tuple.__new__  # quicker than the classes, which matters among hundreds
    return [
        new(Named, (pk, patient, NAME_KINDS[kind], new(NormalName, (given, family, more)), born))
        for pk, patient, kind, given, family, more, born in rows
    ]


NAME_KINDS = {str(kind): kind for kind in NameKind}
