"""Keep the look-up tables true: under which names and keys each patient is found.

`keep` is called by everything that writes a patient, another name or a merge. The tables are
derived: `rebuild` makes them anew and says where they had drifted. `manage.py migrate` calls it, so
that names written in the form of an older version are found by the rules of this one.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from django.db import transaction
from django.db.models import QuerySet

from patients import search_words
from patients.batches import AT_ONCE, batches, insert_values, update_all
from patients.conflicts import tried_again
from patients.known_names import KnownName, known_names
from patients.models import MatchKey, MatchName, Patient
from patients.prepared import GivenIds, prepared
from patients.rules.identity_keys import keys_of
from patients.rules.names import name_key, normal_name
from patients.wake import wake

FIND_DUPLICATES = "patients.tasks.find_duplicates"


@dataclass(frozen=True)
class Wanted:
    """One row that the table of names should have."""

    patient_id: int
    kind: str
    given: str
    family: str
    generation: str
    birth_date: date


@dataclass
class Drift:
    """What was wrong with the derived tables, by patient, and how many patients were looked at."""

    patients: int = 0
    missing: set[int] = field(default_factory=set)  # could not be found under some name or key
    leftover: set[int] = field(default_factory=set)  # were found under a name that is not theirs

    def __bool__(self) -> bool:
        return bool(self.missing or self.leftover)

    def add(self, other: "Drift") -> None:
        """Count what was wrong with other patients as well."""
        self.patients += other.patients
        self.missing |= other.missing
        self.leftover |= other.leftover


def keep(patient_ids: Iterable[int]) -> None:
    """Bring the rows of these patients up to date, in the caller's transaction."""
    for some in batches(sorted(set(patient_ids))):
        drift = Drift()
        with transaction.atomic():
            _mend(some, drift)


def found_anew(patient_ids: Iterable[int]) -> None:
    """They go by other names than before: keep the rows, and look for their duplicates again."""
    ids = list(patient_ids)
    Patient.objects.filter(pk__in=ids).update(compare_with_register=True)
    keep(ids)
    wake(FIND_DUPLICATES)


def rebuild(*, mend: bool = True) -> Drift:
    """Compare every row with the register, mend what differs, and report it.

    Whoever changes one of the patients waits until theirs are mended. Duplicates of those whose
    rows differed are looked for again.
    """
    drift = Drift()
    ids = Patient.objects.order_by("pk").values_list("pk", flat=True)
    for some in batches(ids.iterator(chunk_size=AT_ONCE)):
        drift.add(_rebuild(some, mend=mend))
    return drift


@tried_again
def _rebuild(some: list[int], *, mend: bool) -> Drift:
    """A merge locks the records merged earlier last, whatever their ids are."""
    drift = Drift()
    with transaction.atomic():
        rows = Patient.objects.filter(pk__in=some).order_by("pk")
        patients = list(rows.select_for_update(no_key=True) if mend else rows)
        _mend_schedule_keys(patients, drift, mend=mend)
        _mend([one.pk for one in patients], drift, mend=mend)
        if mend:
            rows.filter(pk__in=drift.missing | drift.leftover).update(compare_with_register=True)
    return drift


def _mend_schedule_keys(patients: list[Patient], drift: Drift, *, mend: bool) -> None:
    """By these a row of a schedule file finds its patient."""
    wrong = []
    for patient in patients:
        key = name_key(patient.given_names, patient.family_names)
        if key != patient.name_key:
            patient.name_key = key
            wrong.append(patient)
    drift.missing |= {patient.pk for patient in wrong}
    if mend:
        update_all(wrong, ["name_key"])


def _mend(patient_ids: list[int], drift: Drift, *, mend: bool = True) -> None:
    names = known_names(patient_ids)
    wanted = {_wanted(known) for known in names}
    rows = _rows(patients=patient_ids)
    have_keys: dict[int, set[int]] = {}
    for name_id, key in MatchKey.objects.filter(name__in=[row.pk for row in rows]).values_list(
        "name", "key"
    ):
        have_keys.setdefault(name_id, set()).add(key)
    standing: set[Wanted] = set()
    wrong = []
    for row in rows:
        here = _as_wanted(row)
        keys = _keys(here) if here in wanted else set()
        if here in standing or keys != have_keys.get(row.pk, set()):
            wrong.append(row)
            drift.leftover.add(row.patient_id)
        else:
            standing.add(here)
    lacking = sorted(wanted - standing, key=lambda w: (w.patient_id, w.kind, w.given, w.family))
    drift.patients += len(patient_ids)
    drift.missing |= {w.patient_id for w in lacking}
    if mend:
        MatchName.objects.filter(pk__in=[row.pk for row in wrong]).delete()
        _write(lacking)
    without_word, with_another = search_words.keep(patient_ids, names, mend=mend)
    drift.missing |= without_word
    drift.leftover |= with_another


@prepared
def _rows() -> QuerySet[MatchName]:
    return MatchName.objects.filter(patient__among=GivenIds("patients"))


def _write(lacking: list[Wanted]) -> None:
    names = MatchName.objects.bulk_create(
        [MatchName(**vars(want)) for want in lacking], batch_size=AT_ONCE
    )
    insert_values(
        MatchKey,
        ["key", "name"],
        [
            (key, name.pk)
            for name, want in zip(names, lacking, strict=True)
            for key in sorted(_keys(want))
        ],
    )


def _wanted(known: KnownName) -> Wanted:
    name = normal_name(known.given_names, known.family_names)
    return Wanted(
        patient_id=known.patient_id,
        kind=str(known.kind),
        given=name.given,
        family=name.family,
        generation=name.generation,
        birth_date=known.birth_date,
    )


def _as_wanted(row: MatchName) -> Wanted:
    return Wanted(row.patient_id, row.kind, row.given, row.family, row.generation, row.birth_date)


def _keys(want: Wanted) -> set[int]:
    return keys_of(normal_name(want.given, want.family), want.birth_date)
