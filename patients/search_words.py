"""Keep the words true by which staff find a patient; derived, like the look-up tables beside them.

`patients.match_keys` calls `keep` with everybody whose names, date of birth or MRN were written.
"""

from collections.abc import Collection, Iterable, Sequence
from typing import Any

from django.db.models import CharField, Q, QuerySet
from django.db.models.lookups import GreaterThanOrEqual, LessThan

from patients.batches import insert_values
from patients.known_names import KnownName
from patients.models import Patient, PatientQuerySet, SearchWord
from patients.prepared import Given, GivenIds, prepared
from patients.rules.search_words import (
    Asked,
    day_word,
    mrn_words,
    name_words,
    read_search,
)

# Of each thing that is asked for: whether a word's beginning may be it, and how many days may.
Shape = tuple[tuple[bool, int], ...]


def keep(
    patient_ids: Collection[int], names: Iterable[KnownName], *, mend: bool = True
) -> tuple[set[int], set[int]]:
    """Bring the words of these patients up to date, in the caller's transaction.

    `names` are all names under which they are known. Returns the patients who lacked a word, and
    those who had one that is not theirs.
    """
    wanted = _wanted(names)
    have = {(patient_id, word): pk for pk, patient_id, word in _rows(patients=patient_ids)}
    lacking = sorted(wanted - have.keys())
    leftover = have.keys() - wanted
    if mend and leftover:
        SearchWord.objects.filter(pk__in=[have[one] for one in leftover]).delete()
    if mend:
        insert_values(SearchWord, ["patient", "word"], lacking)
    return {patient_id for patient_id, _ in lacking}, {patient_id for patient_id, _ in leftover}


@prepared
def _rows() -> "QuerySet[SearchWord, Any]":
    rows = SearchWord.objects.filter(patient__among=GivenIds("patients"))
    return rows.values_list("pk", "patient", "word")


def _wanted(names: Iterable[KnownName]) -> set[tuple[int, str]]:
    found: set[tuple[int, str]] = set()
    for known in names:
        words = name_words(known.given_names, known.family_names) | {day_word(known.birth_date)}
        words |= set(mrn_words(known.mrn)) if known.mrn else set()
        found |= {(known.patient_id, word) for word in words}
    return found


def found_by(text: str) -> PatientQuerySet:
    """Return the patients on the register whom a text fits; none, if there is no word in it."""
    return Patient.objects.on_the_register().filter(fits(text))


def fits(text: str, *, patient: str = "pk") -> Q:
    """Return what picks the records whose patient a text fits; `patient` is the way there.

    A merged record has no words: the one that speaks for it has them.
    """
    words = [
        ((one.begins, _beyond(one.begins)) if one.begins else None, _days(one))
        for one in read_search(text)
    ]
    return _fits(words, patient)


def shape_of(asked: list[Asked]) -> Shape:
    """Return what decides how a search is asked, whatever its words are."""
    return tuple((bool(one.begins), len(one.days)) for one in asked)


def fits_shape(shape: Shape, *, patient: str = "pk") -> Q:
    """Return the same as `fits` for a prepared query, with places for the words."""
    text = CharField()
    words = [
        (
            (Given(f"begins_{n}", text), Given(f"beyond_{n}", text)) if begins else None,
            [Given(f"day_{n}_{m}", text) for m in range(days)],
        )
        for n, (begins, days) in enumerate(shape)
    ]
    return _fits(words, patient)


def words_of(asked: list[Asked]) -> dict[str, str]:
    """Return what goes into those places."""
    words: dict[str, str] = {}
    for n, one in enumerate(asked):
        if one.begins:
            words |= {f"begins_{n}": one.begins, f"beyond_{n}": _beyond(one.begins)}
        words |= {f"day_{n}_{m}": day for m, day in enumerate(_days(one))}
    return words


def _days(asked: Asked) -> list[str]:
    return [day_word(day) for day in asked.days]


def _fits(words: Sequence[tuple[Any, Sequence[Any]]], patient: str) -> Q:
    found = Q() if words else Q(pk__in=[])
    for begins, days in words:
        found &= Q(**{f"{patient}__in": _having(begins, days).values("patient")})
    return found


def _having(begins: tuple[Any, Any] | None, days: Sequence[Any]) -> QuerySet[SearchWord]:
    born = SearchWord.objects.filter(word__in=days)
    if not begins:
        return born
    if not days:
        return SearchWord.objects.filter(word__startswith=begins[0])
    # Hardly an MRN begins like a date; of a LIKE PostgreSQL would expect one word in ten thousand,
    # and read every operation of a big register for them. Of names that is about right.
    mrns = SearchWord.objects.filter(word__bytes_from=begins[0], word__bytes_before=begins[1])
    return mrns | born


def _beyond(begins: str) -> str:
    """Return the first text, by the bytes of UTF-8, behind all that begin with these letters."""
    last = ord(begins[-1])
    after = 0xE000 if last == 0xD7FF else last + 1  # what lies between is no character
    return begins[:-1] + chr(after)


@CharField.register_lookup
class BytesFrom(GreaterThanOrEqual):
    """`>=` in the order of the index for beginnings, whatever the database's own order is."""

    lookup_name = "bytes_from"

    def get_rhs_op(self, connection: Any, rhs: str) -> str:
        """SQLite compares by bytes already."""
        return f"~>=~ {rhs}" if connection.vendor == "postgresql" else f">= {rhs}"


@CharField.register_lookup
class BytesBefore(LessThan):
    """`<` in the same order."""

    lookup_name = "bytes_before"

    def get_rhs_op(self, connection: Any, rhs: str) -> str:
        """As above."""
        return f"~<~ {rhs}" if connection.vendor == "postgresql" else f"< {rhs}"
