"""What an eating plan wants from the dietitian, in words, with the step that comes next."""

from dataclasses import dataclass
from datetime import date

from django.urls import reverse

from clinic.day_words import day, days
from education.plans_wanting import Wanting
from education.rules.plan_wants import PlanStep, Want
from patients.models import Booking

LISTED = 20  # rows on the morning list; the rest stand on the page of eating plans
STEP = {
    PlanStep.TELL_BY_PHONE: "Tell of the new dates by phone",
    PlanStep.CALL_OR_SEND: "Call, or send the plan again",
    PlanStep.CLINICIAN_SIGNS: "A clinician signs that it was discussed",
    PlanStep.ASK: "Ask about medicines",
    PlanStep.GIVE: "Give the plan",
    PlanStep.TALK: "Call, and log the contact",
    PlanStep.BOOK: "Book another day",
}
PAGE = {
    PlanStep.TELL_BY_PHONE: "eating-plan",
    PlanStep.CALL_OR_SEND: "eating-plan",
    PlanStep.CLINICIAN_SIGNS: "eating-plan",
    PlanStep.ASK: "eating-facts",
    PlanStep.GIVE: "eating-plan",
    PlanStep.TALK: "log-contact",
    PlanStep.BOOK: "eating-choices",
}


@dataclass(frozen=True)
class WantingRow:
    """One line: whose plan, why it is on the list, and the next step with its page."""

    found: Wanting
    why: list[str]
    step: str
    address: str
    by_phone: bool


def rows(found: list[Wanting], *, on: date, back: str) -> list[WantingRow]:
    """Return the lines of a list; `back`: the page that their acts lead back to."""
    return [
        WantingRow(
            one,
            [_why(want, one, on) for want in one.wants],
            STEP[one.step],
            reverse(PAGE[one.step], args=[one.operation.patient_id], query={"back": back}),
            one.step == PlanStep.TELL_BY_PHONE,
        )
        for one in found
    ]


def _why(want: Want, one: Wanting, on: date) -> str:
    first = f", first day {day(one.first)}" if one.first else ""
    return {
        Want.NOT_TOLD: _not_told(one),
        Want.NOT_DELIVERED: "plan not delivered: its email failed or was withdrawn",
        Want.WAITS_FOR_SIGNATURE: f"diabetes medicine or pregnancy not signed for{first}",
        Want.NOT_ASKED: f"medicines not asked about{first}",
        Want.NOT_GIVEN: f"no plan given{first}",
        Want.SHORT: f"plan {days(one.facts.short)} short of {one.facts.needed}",
        Want.LONGER: f"moved while the diet ran: {days(one.facts.restricted)} of it in all",
        Want.VISIT_DOES_NOT_FIT: "the booked day of going home or of the first visit does not fit",
    }[want]


def _not_told(one: Wanting) -> str:
    now = one.operation.or_date
    if one.operation.booking == Booking.CANCELLED:
        return "has a plan, and was not told that the operation is cancelled"
    before = f" from {day(one.before)}" if one.before else ""
    after = f"to {day(now)}" if now else "to no date"
    return f"has a plan, and was not told that it moved{before} {after}"
