"""What a patient's history says of the eating plan: asked, signed, chosen, given, told."""

from collections.abc import Collection, Iterator
from datetime import datetime

from clinic import eating_words
from clinic.day_words import day
from clinic.eating_copies import TOLD
from education.models import (
    EatingChoices,
    EatingFacts,
    EatingPlanGiven,
    EatingSetAside,
    EatingSignedFor,
    GivenBy,
    PlanDateTold,
    ToldBy,
)
from education.rules.patient_numbers import OwnNumber

Told = tuple[datetime, str, str, str]  # when, what, detail, who


def told_of(records: Collection[int], operations: Collection[int]) -> Iterator[Told]:
    """Return what is on record about the plans of these records' operations, in no order."""
    for fact in EatingFacts.objects.filter(patient__in=records).select_related("by"):
        measures = f"weight {fact.weight_typed or 'not known'}, height "
        detail = measures + (fact.height_typed or "not known")
        yield fact.recorded_at, "facts for the eating plan kept", detail, fact.by.name
    signed = EatingSignedFor.objects.filter(facts__patient__in=records).select_related("by")
    for sign in signed:
        yield sign.recorded_at, "medicines discussed, signed", sign.note, sign.by.name
    for own in EatingSetAside.objects.filter(patient__in=records).select_related("by"):
        value = "computed again" if own.value is None else f"{own.value.normalize():f}"
        what = eating_words.OWN_NUMBER[OwnNumber(own.what)]
        yield (
            own.recorded_at,
            "number of the eating plan set",
            f"{what}: {value}. {own.reason}",
            (own.by.name),
        )
    yield from _of_operations(operations)


def _of_operations(operations: Collection[int]) -> Iterator[Told]:
    for row in EatingChoices.objects.filter(operation__in=operations).select_related("by"):
        who = row.by.name if row.by else "the patient, through the emailed link"
        reason = f". Reason: {row.reason}" if row.reason else ""
        yield row.recorded_at, "eating plan: days chosen", eating_words.choice(row) + reason, who
    for copy in EatingPlanGiven.objects.filter(operation__in=operations).select_related("by"):
        detail = f"{eating_words.GIVEN[GivenBy(copy.means)]}, for an operation on "
        yield copy.recorded_at, "eating plan given", detail + day(copy.or_date), copy.by.name
    for told in PlanDateTold.objects.filter(operation__in=operations).select_related("by"):
        before = day(told.before) if told.before else "no date"
        after = day(told.or_date) if told.or_date else "no date"
        detail = f"from {before} to {after}: {TOLD[ToldBy(told.means)]}"
        who = told.by.name if told.by else ""
        yield told.recorded_at, "eating plan: new date", detail, who
