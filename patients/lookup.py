"""Find the patients that a typed name and date of birth could mean, and ask the rule."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any

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

NAMED = """
    SELECT n.id, n.patient_id, n.kind, n.given, n.family, n.generation, n.birth_date
    FROM patients_matchname n WHERE {condition} ORDER BY n.id LIMIT %s
"""
BY_KEY = NAMED.format(
    condition="n.id IN (SELECT k.name_id FROM patients_matchkey k WHERE k.key IN (KEYS))"
)
BY_PATIENT = NAMED.format(condition="n.patient_id = %s")
COUNT = "SELECT count(*) FROM (SELECT 1 FROM patients_matchkey WHERE key = %s LIMIT %s) bounded{n}"


def whose(claim: Claim, *, link_patient_id: int | None, policy: Policy) -> Decision:
    """Ask the identity rule about a claim, with everybody on the register who could fit.

    Indexed look-ups only: two queries, and three or four when nobody likely is found at first.
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

    @cached_property
    def people(self) -> int:
        """The highest id: near enough to their number for a logarithm, and known at once."""
        return Patient.objects.order_by("-pk").values_list("pk", flat=True).first() or 0

    def named(self, keys: Collection[int]) -> Sequence[Named]:
        """Return the names that have one of the keys, at most MOST_COMPARED."""
        if not keys:
            return []
        places = ", ".join(["%s"] * len(keys))
        found = _named(BY_KEY.replace("KEYS", places), [*keys, MOST_COMPARED])
        return [one for one in found if one.person_id != self._without]

    def of(self, person_id: PersonId) -> Sequence[Named]:
        """Return the names of one patient."""
        return _named(BY_PATIENT, [person_id, MOST_COMPARED])

    def bearers(self, keys: Collection[int], *, upto: int) -> dict[int, int]:
        """Count the names that have each key, no further than `upto`, in one query."""
        asked = list(keys)
        if not asked:
            return {}
        counts = ", ".join(f"({COUNT.format(n=n)})" for n in range(len(asked)))
        values: list[Any] = [value for key in asked for value in (key, upto)]
        with connection.cursor() as cursor:
            cursor.execute(f"SELECT {counts}", values)
            return dict(zip(asked, cursor.fetchone(), strict=True))


def _named(query: str, values: Iterable[Any]) -> list[Named]:
    with connection.cursor() as cursor:
        cursor.execute(query, list(values))
        rows = cursor.fetchall()
    return [
        Named(
            pk,
            patient_id,
            NameKind(kind),
            NormalName(given, family, generation),
            born,
        )
        for pk, patient_id, kind, given, family, generation, born in rows
    ]
