"""Which copies of a plan a patient has, and whether a move was told: in words, for staff."""

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from clinic import eating_words
from clinic.day_words import day
from education.eating_record import Delivery, delivery
from education.models import EatingPlanGiven, GivenBy, PlanDateTold, ToldBy
from education.plan_moves import in_force, is_told
from education.plan_of import PlanOf
from patients.clock import local_date

DELIVERY = {
    Delivery.BY_HAND: "",
    Delivery.ON_ITS_WAY: "the email is on its way",
    Delivery.DELIVERED: "the email went out",
    Delivery.UNSURE: "the email may have gone out, or not",
    Delivery.FAILED: "not delivered: the email failed",
    Delivery.WITHDRAWN: "not delivered: the email was withdrawn",
}
TOLD = {
    ToldBy.EMAIL: "by email",
    ToldBy.PHONE: "by phone",
    ToldBy.PRINT: "on paper",
    ToldBy.NOT_YET: "not told yet",
    ToldBy.NOT_NEEDED: "moved back before the patient heard of it",
}


@dataclass(frozen=True)
class CopyLine:
    """One copy. `void`: for another OR date, or never delivered."""

    given: EatingPlanGiven
    means: str
    became: str
    void: bool


def copies(found: PlanOf) -> list[CopyLine]:
    """Return every copy, the first one first."""
    every = sorted((*found.given, *found.undelivered), key=lambda one: (one.recorded_at, one.pk))
    return [
        CopyLine(
            one,
            eating_words.GIVEN[GivenBy(one.means)],
            DELIVERY[delivery(one.link)],
            one.or_date != in_force(found.operation) or one in found.undelivered,
        )
        for one in every
    ]


def must_tell(found: PlanOf) -> bool:
    """Whether somebody has to tell the patient of the OR date as it is now."""
    return found.told is not None and not is_told(found.told)


def about_the_copy(found: PlanOf) -> str:
    """Say what is wrong with what the patient has, and what is done about it; "" for nothing."""
    if found.told is not None:
        return _told(found.told, found.programme.zone)
    if not found.given:
        if found.undelivered:
            return (
                "Not delivered: the email with the plan failed, so the patient has none. "
                "Call, or send it again."
            )
        return ""
    last = found.given[-1]
    if last.or_date != in_force(found.operation):
        return (
            f"The patient’s copy is void: it was made for an operation on {day(last.or_date)}. "
            "Tell the patient, and give a new one."
        )
    if last.table_id != found.table.pk:
        return (
            f"The patient’s copy was made by stage table {last.table.number}; it is table "
            f"{found.table.number} now. Give a new one."
        )
    return ""


def _told(row: PlanDateTold, zone: ZoneInfo) -> str:
    before = f"from {day(row.before)} " if row.before else ""
    after = f"to {day(row.or_date)}" if row.or_date else "to no date"
    moved = f"The date moved {before}{after}."
    when = day(local_date(row.recorded_at, zone))
    if row.means == ToldBy.NOT_NEEDED:
        return ""
    if row.means == ToldBy.NOT_YET:
        return f"{moved} The patient was not told yet: tell of the new dates by phone."
    if row.means == ToldBy.EMAIL:
        became = DELIVERY[delivery(row.link)]
        step = "" if is_told(row) else " Tell of the new dates by phone."
        return f"{moved} The patient is told by email, {when}: {became}.{step}"
    by = f", by {row.by.name}" if row.by else ""
    return f"{moved} The patient was told {TOLD[ToldBy(row.means)]}, {when}{by}."
