"""Keep the words true by which staff find a patient; derived, like the look-up tables beside them.

`patients.match_keys` calls `keep` with everybody whose names, date of birth or MRN were written.
"""

from collections.abc import Collection

from django.db.models import Q, QuerySet

from patients.batches import insert_values
from patients.known_names import known_names
from patients.models import Patient, PatientQuerySet, SearchWord
from patients.rules.search_words import (
    Asked,
    day_word,
    mrn_words,
    name_words,
    read_search,
)
from patients.speaks_for import spoken_for


def keep(patient_ids: Collection[int], *, mend: bool = True) -> tuple[set[int], set[int]]:
    """Bring the words of these patients up to date, in the caller's transaction.

    Returns the patients who lacked a word, and those who had one that is not theirs.
    """
    wanted = _wanted(patient_ids)
    rows = SearchWord.objects.filter(patient__in=patient_ids).values_list("pk", "patient", "word")
    have = {(patient_id, word): pk for pk, patient_id, word in rows}
    lacking = sorted(wanted - have.keys())
    leftover = have.keys() - wanted
    if mend:
        SearchWord.objects.filter(pk__in=[have[one] for one in leftover]).delete()
        insert_values(SearchWord, ["patient", "word"], lacking)
    return {patient_id for patient_id, _ in lacking}, {patient_id for patient_id, _ in leftover}


def _wanted(patient_ids: Collection[int]) -> set[tuple[int, str]]:
    found: set[tuple[int, str]] = set()
    for known in known_names(patient_ids):
        words = name_words(known.given_names, known.family_names) | {day_word(known.birth_date)}
        found |= {(known.patient_id, word) for word in words}
    own = Patient.objects.on_the_register().filter(pk__in=patient_ids)
    speaks = spoken_for(own.values_list("pk", flat=True))
    for pk, mrn in Patient.objects.filter(pk__in=list(speaks)).values_list("pk", "mrn"):
        found |= {(speaks[pk], word) for word in mrn_words(mrn)}
    return found


def found_by(text: str) -> PatientQuerySet:
    """Return the patients on the register whom a text fits; none, if there is no word in it."""
    return Patient.objects.on_the_register().filter(fits(text))


def fits(text: str, *, patient: str = "pk") -> Q:
    """Return what picks the records whose patient a text fits; `patient` is the way there.

    A merged record has no words: the one that speaks for it has them.
    """
    asked = read_search(text)
    found = Q() if asked else Q(pk__in=[])
    for one in asked:
        found &= Q(**{f"{patient}__in": _having(one).values("patient")})
    return found


def _having(asked: Asked) -> QuerySet[SearchWord]:
    days = SearchWord.objects.filter(word__in=[day_word(day) for day in asked.days])
    if not asked.begins:
        return days
    begins = SearchWord.objects.filter(word__startswith=asked.begins)
    return begins | days if asked.days else begins
