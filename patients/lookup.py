"""Find the patients that a typed name and date of birth could mean, and ask the rule."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from typing import Any

import psycopg
from django.db import connection

from patients.models import Patient
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
    "FROM patients_matchname n WHERE n.{those} ORDER BY n.id "
)
BY_PATIENT = NAMES.format(those="patient_id = %s")
WITH_KEY = "SELECT name_id FROM patients_matchkey WHERE key "
BY_KEY = {
    "postgresql": NAMES.format(those=f"id = ANY(ARRAY({WITH_KEY} = ANY(%s::bigint[])))"),
    "sqlite": NAMES.format(those=f"id IN ({WITH_KEY} IN (SELECT value FROM json_each(%s)))"),
}
# Each key and how many names have it, no further than a limit.
SHARED = """
    SELECT asked.{key} AS key, (SELECT count(*) FROM (
        SELECT 1 FROM patients_matchkey m WHERE m.key = asked.{key} LIMIT %s) bounded) AS names
    FROM {keys}
"""
SHARED_BY = {
    "postgresql": SHARED.format(key="key", keys="unnest(%s::bigint[]) AS asked(key)"),
    "sqlite": SHARED.format(key="value", keys="json_each(%s) AS asked"),
}
# And without a key the highest id of a patient.
COUNTS = {
    vendor: f"{shared} UNION ALL SELECT NULL, (SELECT max(id) FROM patients_patient)"
    for vendor, shared in SHARED_BY.items()
}
# What `candidates.rarest_keys` says, in SQL.
RAREST = """
    SELECT key FROM (
        SELECT key, sum(names) OVER (ORDER BY names, key) AS together FROM ({shared}) shared
    ) added WHERE together < %s
"""
BY_RAREST_KEY = {
    "postgresql": NAMES.format(
        those=f"id = ANY(ARRAY({WITH_KEY} = ANY(ARRAY("
        f"{RAREST.format(shared=SHARED_BY['postgresql'])}))))"
    ),
    "sqlite": NAMES.format(
        those=f"id IN ({WITH_KEY} IN ({RAREST.format(shared=SHARED_BY['sqlite'])}))"
    ),
}


def whose(claim: Claim, *, link_patient_id: int | None, policy: Policy) -> Decision:
    """Ask the identity rule about a claim, with everybody on the register who could fit.

    Indexed look-ups only: two queries, and one more when nobody likely is found at first.
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
        self._counted: dict[int, int] = {}
        self._people: int | None = None

    @property
    def people(self) -> int:
        """The highest id: near enough to their number for a logarithm, and known at once."""
        if self._people is None:
            self._count([], upto=1)
        return self._people or 0

    def named(self, keys: Collection[int]) -> Sequence[Named]:
        """Return the names that have one of the keys, at most MOST_COMPARED."""
        if not keys:
            return []
        query = f"{BY_KEY[connection.vendor]} LIMIT {MOST_COMPARED}"
        return self._others(_fetch(query, [_list(keys)]))

    def rarest(self, keys: Collection[int], *, upto: int) -> Sequence[Named]:
        """Return the names that have one of the `rarest_keys` among these."""
        return self._others(_fetch(BY_RAREST_KEY[connection.vendor], [upto, _list(keys), upto]))

    def of(self, person_id: PersonId) -> Sequence[Named]:
        """Return the names of one patient."""
        return _named(_fetch(BY_PATIENT, [person_id]))

    def bearers(self, keys: Collection[int], *, upto: int) -> dict[int, int]:
        """Count the names that have each key, no further than `upto`; each key once."""
        new = [key for key in keys if key not in self._counted]
        if new:
            self._count(new, upto=upto)
        return {key: self._counted[key] for key in keys}

    def _others(self, rows: Iterable[tuple[Any, ...]]) -> list[Named]:
        return [one for one in _named(rows) if one.person_id != self._without]

    def _count(self, keys: list[int], *, upto: int) -> None:
        for key, count in _fetch(COUNTS[connection.vendor], [upto, _list(keys)]):
            if key is None:
                self._people = count
            else:
                self._counted[key] = count


def _list(keys: Collection[int]) -> str:
    """Write keys as PostgreSQL or SQLite reads an array from one text: that is quickest to send."""
    listed = ",".join(map(str, keys))
    return f"{{{listed}}}" if connection.vendor == "postgresql" else f"[{listed}]"


def _fetch(query: str, values: list[Any]) -> list[tuple[Any, ...]]:
    """Run a query; on PostgreSQL as a prepared statement, which spares most of its time."""
    if connection.vendor == "postgresql":
        connection.ensure_connection()
        with connection.wrap_database_errors, psycopg.Cursor(connection.connection) as prepared:
            return list(prepared.execute(query, values, prepare=True).fetchall())
    with connection.cursor() as cursor:
        cursor.execute(query, values)
        return list(cursor.fetchall())


def _named(rows: Iterable[tuple[Any, ...]]) -> list[Named]:
    return [
        Named(pk, patient_id, NAME_KINDS[kind], NormalName(given, family, generation), born)
        for pk, patient_id, kind, given, family, generation, born in rows
    ]


NAME_KINDS = {str(kind): kind for kind in NameKind}
