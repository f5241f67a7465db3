"""Which eating plans want the dietitian today, why, and what next: for the morning list.

A fixed number of queries, however many patients there are: one reads what decides, three more look
into the few whose history or medicines have to be looked at.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Exists, F, OuterRef, Q, QuerySet, Subquery

from education.eating_record import COLUMN, NEEDS_SIGNATURE, NOT_DELIVERED
from education.models import (
    EatingChoices,
    EatingFacts,
    EatingPlanGiven,
    EatingSignedFor,
    MessageState,
    PlanDateTold,
    ToldBy,
)
from education.rules.booked_stay import booked_stay
from education.rules.eating_stages import Stay, days_needed_before
from education.rules.plan_wants import SOON, STEP, PlanFacts, PlanStep, Want, wants
from education.rules.restricted_days import Dated, Followed, followed
from education.stage_tables import current, stages_of, usual_stay
from patients.clock import local_date
from patients.models import (
    OPEN_BOOKINGS,
    Booking,
    Contact,
    Operation,
    OperationChange,
    Outcome,
    Patient,
    latest_first,
)

DAY = timedelta(days=1)
# As `plan_moves.is_told`: an email that only may have gone out tells nobody for sure.
NOBODY_FOR_SURE = (*NOT_DELIVERED, MessageState.AMBIGUOUS)
OF_LATE = 30 * DAY  # after the OR date, a booked visit that does not fit is still asked about


@dataclass(frozen=True)
class Wanting:
    """One plan with what it wants. `first`: the day on which it would begin, or has begun.

    `before`: the OR date that the patient knows of, where that is another one. `asked`: when
    somebody last reached the patient.
    """

    operation: Operation
    wants: tuple[Want, ...]
    first: date | None
    facts: PlanFacts
    before: date | None
    reached_at: datetime | None

    @property
    def step(self) -> PlanStep:
        return STEP[self.wants[0]]


def plans_wanting(*, at: datetime, zone: ZoneInfo) -> list[Wanting]:
    """Return the plans that want something at an instant, the nearest OR date first.

    Nobody is named for having no plan as long as the programme never gave one to anybody.
    """
    table = current()
    if table is None:
        return []
    on = local_date(at, zone)
    stages, usual = stages_of(table), usual_stay(table)
    needed = days_needed_before(stages, usual)
    rows = list(_read(on=on, needed=needed))
    histories = _histories((one.pk for one in rows if _has_moved(one)), zone)
    unsigned = _unsigned(rows)
    found = []
    for row in rows:
        one = _wanting(row, histories.get(row.pk), unsigned, usual, zone, needed=needed, on=on)
        if one.wants:
            found.append(one)
    return found


def _read(*, on: date, needed: int) -> QuerySet[Operation]:
    """Return the operations whose plan could want something, with what decides."""
    copies = EatingPlanGiven.objects.filter(operation=OuterRef("pk"))
    good = copies.exclude(link__message__state__in=NOT_DELIVERED)
    bad = copies.filter(link__message__state__in=NOT_DELIVERED)
    told = PlanDateTold.objects.filter(operation=OuterRef("pk")).order_by(*latest_first())
    choices = EatingChoices.objects.filter(operation=OuterRef("pk")).order_by(*latest_first())
    whose = OuterRef(OuterRef("patient"))
    records = Patient.objects.filter(Q(pk=whose) | Q(merged_into=whose)).values("pk")
    facts = EatingFacts.objects.filter(patient__in=records).order_by(*latest_first())
    reached = Contact.objects.standing().filter(patient__in=records, outcome=Outcome.REACHED)
    asked = {f"said_{column}": Subquery(facts.values(column)[:1]) for column in COLUMN.values()}
    other_date = OperationChange.objects.filter(operation=OuterRef("pk")).exclude(
        or_date=OuterRef("or_date"), booking__in=[*OPEN_BOOKINGS, Booking.DONE]
    )
    return (
        Operation.objects.filter(pk__in=_candidates(on=on, needed=needed))
        .select_related("patient", "procedure")
        .annotate(
            plans_in_use=Exists(EatingPlanGiven.objects.all()),
            given_at=Subquery(good.order_by("recorded_at").values("recorded_at")[:1]),
            given_last_at=Subquery(good.order_by(*latest_first()).values("recorded_at")[:1]),
            failed_at=Subquery(bad.order_by(*latest_first()).values("recorded_at")[:1]),
            told_means=Subquery(told.values("means")[:1]),
            told_state=Subquery(told.values("link__message__state")[:1]),
            told_before=Subquery(told.values("before")[:1]),
            home_on=Subquery(choices.values("home_on")[:1]),
            visit_on=Subquery(choices.values("first_visit_on")[:1]),
            nights=Subquery(choices.values("nights")[:1]),
            visit_days=Subquery(choices.values("first_visit_days")[:1]),
            facts_id=Subquery(facts.values("pk")[:1]),
            reached_at=Subquery(reached.order_by("-recorded_at").values("recorded_at")[:1]),
            moved=Exists(other_date),
            **asked,
        )
        .order_by(F("or_date").asc(nulls_last=True), "pk")
    )


def _candidates(*, on: date, needed: int) -> QuerySet[Any, Any]:
    """Return ids, each by an index: what begins soon or runs, and what somebody may have to say."""
    soon = Operation.objects.filter(
        or_date__range=(on, on + (needed + SOON) * DAY), booking__in=OPEN_BOOKINGS
    )
    later = PlanDateTold.objects.filter(operation=OuterRef("operation"), pk__gt=OuterRef("pk"))
    not_told = PlanDateTold.objects.filter(
        Q(means=ToldBy.NOT_YET) | Q(link__message__state__in=NOBODY_FOR_SURE)
    ).exclude(Exists(later))
    undelivered = EatingPlanGiven.objects.filter(
        link__message__state__in=NOT_DELIVERED, operation__booking__in=OPEN_BOOKINGS
    )
    booked = EatingChoices.objects.filter(
        first_visit_on__isnull=False, operation__or_date__gte=on - OF_LATE
    )
    return soon.values("pk").union(
        not_told.order_by().values("operation"),
        undelivered.order_by().values("operation"),
        booked.order_by().values("operation"),
    )


def _wanting(
    row: Any,
    history: list[Dated] | None,
    unsigned: set[int],
    usual: Stay,
    zone: ZoneInfo,
    *,
    needed: int,
    on: date,
) -> Wanting:
    ahead = row.booking in OPEN_BOOKINGS and row.or_date is not None and row.or_date >= on
    first = row.or_date - needed * DAY if ahead else None
    begun = _followed(row, history, zone, needed=needed, on=on)
    shown = max(first, begun.since) if first else None
    given = row.given_at is not None
    stay = booked_stay(
        Stay(row.nights, row.visit_days) if row.nights is not None else usual,
        row.or_date,
        home_on=row.home_on,
        first_visit_on=row.visit_on,
    )
    facts = PlanFacts(
        first=first if row.plans_in_use else None,
        needed=needed,
        given=given,
        not_delivered=not given and row.failed_at is not None,
        not_told=_not_told(row),
        asked=all(getattr(row, f"said_{column}") is not None for column in COLUMN.values()),
        unsigned=row.pk in unsigned,
        short=(shown - first).days if shown and first else 0,
        restricted=_restricted(row, begun, shown),
        visit_fits=not stay.doubts,
        talked=_talked(row, history, zone),
    )
    before = row.told_before if facts.not_told else None
    return Wanting(row, wants(facts, on=on), shown, facts, before, row.reached_at)


def _not_told(row: Any) -> bool:
    if row.told_means == ToldBy.EMAIL:
        return row.told_state in NOBODY_FOR_SURE
    return bool(row.told_means == ToldBy.NOT_YET)


def _followed(
    row: Any, history: list[Dated] | None, zone: ZoneInfo, *, needed: int, on: date
) -> Followed:
    if row.given_at is None:
        return Followed(on)
    given_on = min(local_date(row.given_at, zone), on)
    return followed(history or [], needed=needed, given_on=given_on)


def _restricted(row: Any, begun: Followed, shown: date | None) -> int:
    """Days of the diet before the operation; only a move can make them more than planned."""
    if shown is None or not begun.before:
        return 0
    days: int = (row.or_date - shown).days
    return days + sum(day < shown for day in begun.before)


def _talked(row: Any, history: list[Dated] | None, zone: ZoneInfo) -> bool:
    """Whether somebody reached the patient since the plan was given for this date, or it moved."""
    if row.reached_at is None or row.given_last_at is None:
        return False
    since = local_date(row.given_last_at, zone)
    if history:
        since = max(since, history[-1].since)
    return bool(local_date(row.reached_at, zone) >= since)


def _has_moved(row: Any) -> bool:
    return row.given_at is not None and bool(row.moved)


def _histories(operation_ids: Iterable[int], zone: ZoneInfo) -> dict[int, list[Dated]]:
    """Return the OR dates that were on record, the oldest first, of operations that moved."""
    ids = list(operation_ids)
    found: dict[int, list[Dated]] = defaultdict(list)
    if not ids:
        return found
    rows = OperationChange.objects.filter(operation__in=ids).order_by("operation", "version")
    for pk, or_date, booking, at in rows.values_list(
        "operation_id", "or_date", "booking", "recorded_at"
    ):
        held = None if booking == Booking.CANCELLED else or_date
        if not found[pk] or found[pk][-1].or_date != held:
            found[pk].append(Dated(local_date(at, zone), held))
    return found


def _unsigned(rows: Iterable[Any]) -> set[int]:
    """Return which operations' patients have a medicine, or pregnancy, nobody signed for.

    The same rule as `eating_record.signature_for`, for several patients in two queries.
    """
    asked = {
        row.pk: row.patient_id
        for row in rows
        if any(getattr(row, f"said_{name}") for name in NEEDS_SIGNATURE)
    }
    if not asked:
        return set()
    whose = set(asked.values())
    facts: dict[int, list[EatingFacts]] = defaultdict(list)
    listed = EatingFacts.objects.filter(Q(patient__in=whose) | Q(patient__merged_into__in=whose))
    for one in listed.select_related("patient").order_by(*latest_first()):
        facts[one.patient.merged_into_id or one.patient_id].append(one)
    signed = set(
        EatingSignedFor.objects.filter(
            facts__in=[one.pk for found in facts.values() for one in found]
        ).values_list("facts_id", flat=True)
    )
    return {pk for pk, patient in asked.items() if not _covered(facts[patient], signed)}


def _covered(facts: list[EatingFacts], signed: set[int]) -> bool:
    for one in facts:
        if any(getattr(one, name) != getattr(facts[0], name) for name in NEEDS_SIGNATURE):
            return False
        if one.pk in signed:
            return True
    return False
