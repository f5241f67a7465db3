"""What does a patient's eating plan want from the dietitian today, and what is the next step?"""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum


class Want(StrEnum):
    """Why a plan is on the morning list; the first is the one that cannot wait."""

    NOT_TOLD = "not_told"  # the OR date moved, and no email tells the patient
    NOT_DELIVERED = "not_delivered"  # the email that brought the plan failed
    WAITS_FOR_SIGNATURE = "waits_for_signature"
    NOT_ASKED = "not_asked"  # about medicines or pregnancy
    NOT_GIVEN = "not_given"  # it should have begun
    SHORT = "short"
    LONGER = "longer"  # a moved date makes the diet longer (standards DAT-5)
    VISIT_DOES_NOT_FIT = "visit_does_not_fit"


class PlanStep(StrEnum):
    """What the dietitian does next."""

    TELL_BY_PHONE = "tell_by_phone"
    CALL_OR_SEND = "call_or_send"
    CLINICIAN_SIGNS = "clinician_signs"
    ASK = "ask"
    GIVE = "give"
    TALK = "talk"
    BOOK = "book"


STEP = {
    Want.NOT_TOLD: PlanStep.TELL_BY_PHONE,
    Want.NOT_DELIVERED: PlanStep.CALL_OR_SEND,
    Want.WAITS_FOR_SIGNATURE: PlanStep.CLINICIAN_SIGNS,
    Want.NOT_ASKED: PlanStep.ASK,
    Want.NOT_GIVEN: PlanStep.GIVE,
    Want.SHORT: PlanStep.TALK,
    Want.LONGER: PlanStep.TALK,
    Want.VISIT_DOES_NOT_FIT: PlanStep.BOOK,
}
# Talked about once with the patient, these want nothing more.
TALKED_ABOUT = frozenset({Want.SHORT, Want.LONGER})
SOON = 7  # days before its first day from which a plan that nobody has wants something


@dataclass(frozen=True)
class PlanFacts:
    """What is known of one operation's plan.

    `first`: the day on which the stages would begin, None without an OR date; `given`: the patient
    has a copy that counts; `short`, `restricted`, `needed`: days; `talked`: somebody reached the
    patient since the date, or the plan, became this one.
    """

    first: date | None
    needed: int
    given: bool
    not_delivered: bool
    not_told: bool
    asked: bool
    unsigned: bool
    short: int = 0
    restricted: int = 0
    visit_fits: bool = True
    talked: bool = False


def wants(facts: PlanFacts, *, on: date) -> tuple[Want, ...]:
    """Return what a plan wants on a day, the weightiest first; empty: nothing."""
    found = []
    if facts.not_told:
        found.append(Want.NOT_TOLD)
    if facts.not_delivered:
        found.append(Want.NOT_DELIVERED)
    if facts.first is not None and (facts.first - on).days <= SOON:
        found += _before(facts, on)
    if facts.given and not facts.visit_fits:
        found.append(Want.VISIT_DOES_NOT_FIT)
    return tuple(w for w in found if not (facts.talked and w in TALKED_ABOUT))


def _before(facts: PlanFacts, on: date) -> list[Want]:
    found = []
    if not facts.asked:
        found.append(Want.NOT_ASKED)
    elif facts.unsigned:
        found.append(Want.WAITS_FOR_SIGNATURE)
    elif not facts.given and not facts.not_delivered:
        found.append(Want.NOT_GIVEN)
    if facts.short:
        found.append(Want.SHORT)
    if facts.restricted > facts.needed:
        found.append(Want.LONGER)
    return found
