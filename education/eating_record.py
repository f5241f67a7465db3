"""What is kept for a patient's eating plan: facts, numbers set by hand, choices, who got it."""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum

from django.db.models import Q, QuerySet

from education.models import (
    EatingChoices,
    EatingFacts,
    EatingPlanGiven,
    EatingSetAside,
    EatingSignedFor,
    GivenBy,
    Message,
    MessageState,
    PlanLink,
    StageTable,
)
from education.rules.body_numbers import Sex
from education.rules.may_give import Answers, Medicine
from education.rules.patient_numbers import OwnNumber
from patients.models import Operation, Patient, latest_first

COLUMN = {
    Medicine.DIABETES: "diabetes",
    Medicine.BLOOD_THINNER: "blood_thinner",
    Medicine.BLOOD_PRESSURE: "blood_pressure",
    Medicine.PREGNANCY: "pregnancy",
}
NEEDS_SIGNATURE = ("diabetes", "pregnancy")
NOT_DELIVERED = (MessageState.FAILED, MessageState.WITHDRAWN)


@dataclass(frozen=True)
class TypedFacts:
    """What staff typed about a patient, read already: kg, cm; None is not asked."""

    weight_typed: str
    weight_kg: Decimal | None
    height_typed: str
    height_cm: Decimal | None
    sex: Sex | None
    said: dict[Medicine, bool | None]
    fasting_order: str = ""
    fasting_order_by: str = ""


def record_facts(patient: Patient, facts: TypedFacts, *, at: datetime, by_id: int) -> EatingFacts:
    """Keep what is known of a patient from here on, whole."""
    return EatingFacts.objects.create(
        patient=patient,
        weight_typed=facts.weight_typed,
        weight_kg=facts.weight_kg,
        height_typed=facts.height_typed,
        height_cm=facts.height_cm,
        sex_for_formulas=facts.sex or "",
        fasting_order=facts.fasting_order,
        fasting_order_by=facts.fasting_order_by,
        recorded_at=at,
        by_id=by_id,
        **{COLUMN[medicine]: answer for medicine, answer in facts.said.items()},
    )


def facts_of(patient: Patient) -> EatingFacts | None:
    """Return the facts in force, None if nobody asked yet."""
    return _facts(patient.pk).first()


def _facts(patient_id: int) -> QuerySet[EatingFacts]:
    """Return a patient's facts, the latest first; those of records merged into theirs too."""
    whose = Q(patient=patient_id) | Q(patient__merged_into=patient_id)
    return EatingFacts.objects.filter(whose).order_by(*latest_first())


def sign_for(facts: EatingFacts, *, note: str, at: datetime, by_id: int) -> EatingSignedFor:
    """A clinician signs that the medicines were discussed with the patient."""
    return EatingSignedFor.objects.create(facts=facts, note=note, recorded_at=at, by_id=by_id)


def answers_of(facts: EatingFacts | None) -> Answers:
    """Return what the patient said, and whether a clinician signed for just that."""
    if facts is None:
        return Answers({})
    said = {medicine: getattr(facts, column) for medicine, column in COLUMN.items()}
    return Answers(said, discussed=signature_for(facts) is not None)


def signature_for(facts: EatingFacts) -> EatingSignedFor | None:
    """Return the signature that covers the facts.

    One given on earlier facts covers later ones as long as each of them said the same about what
    has to be signed for: a corrected weight needs no second signature, a new medicine does.
    """
    speaks = facts.patient.merged_into_id or facts.patient_id
    same = []
    for row in _facts(speaks):
        if any(getattr(row, name) != getattr(facts, name) for name in NEEDS_SIGNATURE):
            break
        same.append(row.pk)
    return (
        EatingSignedFor.objects.filter(facts__in=same)
        .select_related("by")
        .order_by(*latest_first())
        .first()
    )


def set_aside(
    patient: Patient,
    what: OwnNumber,
    value: Decimal | None,
    *,
    reason: str,
    at: datetime,
    by_id: int,
) -> EatingSetAside:
    """Put a number in place of the computed one; None: the computed one again."""
    return EatingSetAside.objects.create(
        patient=patient, what=what, value=value, reason=reason, recorded_at=at, by_id=by_id
    )


def own_number_history(patient: Patient) -> QuerySet[EatingSetAside]:
    """Return every number that staff set for a patient, the latest first."""
    whose = Q(patient=patient) | Q(patient__merged_into=patient)
    return EatingSetAside.objects.filter(whose).select_related("by").order_by(*latest_first())


def own_numbers(patient: Patient) -> dict[OwnNumber, EatingSetAside]:
    """Return the numbers that staff set for a patient and that are in force."""
    latest: dict[OwnNumber, EatingSetAside] = {}
    for row in own_number_history(patient):
        latest.setdefault(OwnNumber(row.what), row)
    return {what: row for what, row in latest.items() if row.value is not None}


def choose(
    operation: Operation,
    *,
    meals: list[int],
    nights: int,
    first_visit_days: int,
    home_on: date | None = None,
    first_visit_on: date | None = None,
    reason: str = "",
    at: datetime,
    by_id: int | None,
) -> EatingChoices:
    """Keep what was chosen for an operation, in days from the OR date, and what is booked."""
    return EatingChoices.objects.create(
        operation=operation,
        meals=sorted(set(meals)),
        nights=nights,
        first_visit_days=first_visit_days,
        home_on=home_on,
        first_visit_on=first_visit_on,
        reason=reason,
        recorded_at=at,
        by_id=by_id,
    )


def choices_of(operation: Operation) -> EatingChoices | None:
    """Return what was chosen for an operation, None if nothing was."""
    return EatingChoices.objects.filter(operation=operation).order_by(*latest_first()).first()


def give(
    operation: Operation,
    table: StageTable,
    means: GivenBy,
    *,
    link: PlanLink | None = None,
    at: datetime,
    by_id: int,
) -> EatingPlanGiven:
    """Keep that the patient got the plan; by email with its link. Raises ValueError without an OR
    date.
    """
    if operation.or_date is None:
        raise ValueError("no plan has dates without an OR date")
    return EatingPlanGiven.objects.create(
        operation=operation,
        table=table,
        or_date=operation.or_date,
        means=means,
        link=link,
        recorded_at=at,
        by_id=by_id,
    )


class Delivery(StrEnum):
    """What became of a copy, or of the news that a date moved."""

    BY_HAND = "by_hand"  # on paper, or on the phone
    ON_ITS_WAY = "on_its_way"
    DELIVERED = "delivered"  # the mail server took it
    UNSURE = "unsure"  # the mail server may have taken it
    FAILED = "failed"
    WITHDRAWN = "withdrawn"


DELIVERY = {
    MessageState.WAITING: Delivery.ON_ITS_WAY,
    MessageState.SENDING: Delivery.ON_ITS_WAY,
    MessageState.SENT: Delivery.DELIVERED,
    MessageState.AMBIGUOUS: Delivery.UNSURE,
    MessageState.FAILED: Delivery.FAILED,
    MessageState.WITHDRAWN: Delivery.WITHDRAWN,
}


def delivery(link: PlanLink | None) -> Delivery:
    """Return what became of the email of a link; without a link somebody saw to it by hand."""
    message: Message | None = getattr(link, "message", None)
    return DELIVERY[MessageState(message.state)] if message else Delivery.BY_HAND


def counts(given: EatingPlanGiven) -> bool:
    """Whether the patient has this copy, or soon will: one whose email failed is none."""
    return delivery(given.link) not in (Delivery.FAILED, Delivery.WITHDRAWN)
