"""How much to drink in a day, in both units, and how long it takes in small sips.

An ounce here is always a US fluid ounce: 29.5735 mL (16 CFR 500.19(a)). An imperial one and the
30 mL of nutrition labels are others (standards NUT-52).
"""

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal
from zoneinfo import ZoneInfo

ML_PER_US_FL_OZ = Decimal("29.5735")


def us_fl_oz(ml: Decimal | int) -> Decimal:
    """Return millilitres in US fluid ounces, unrounded."""
    return Decimal(ml) / ML_PER_US_FL_OZ


def millilitres(us_fl_oz: Decimal | int) -> Decimal:
    """Return US fluid ounces in millilitres, unrounded."""
    return Decimal(us_fl_oz) * ML_PER_US_FL_OZ


def whole(value: Decimal) -> int:
    """Round half up: to whole ounces, or whole millilitres."""
    return int(value.to_integral_value(ROUND_HALF_UP))


@dataclass(frozen=True)
class Pace:
    """A sip of so many US fluid ounces every so many minutes while awake."""

    oz: Decimal
    every_minutes: int


@dataclass(frozen=True)
class Sipping:
    """What a pace comes to. `by`: when the target is reached if it is begun at `begun`.

    `today`: whether that is before the bedtime of the same day.
    `oz_by_bedtime`: what is drunk by bedtime at this pace, at most the target.
    """

    sips: int
    takes: timedelta
    begun: datetime
    by: datetime
    today: bool
    oz_by_bedtime: Decimal


def sips_needed(target_ml: Decimal | int, pace: Pace) -> int:
    """Return how many sips reach the target; a part of one is one more."""
    left = us_fl_oz(target_ml) / pace.oz
    # 64 oz printed as 1893 mL is 64.01 oz: a hundredth of a sip is rounding, not thirst.
    return max(0, int((left - Decimal("0.05")).to_integral_value(ROUND_CEILING)))


def sipping(
    target_ml: Decimal | int, pace: Pace, *, begin: datetime, bedtime: time, zone: ZoneInfo
) -> Sipping:
    """Return how long the target takes when begun at an instant, and by what local time.

    A sip and the minutes up to the next one belong together: 64 sips of a quarter of an hour take
    16 hours. Counted in elapsed time, so a night of 23 or 25 hours changes nothing.
    """
    count = sips_needed(target_ml, pace)
    takes = timedelta(minutes=count * pace.every_minutes)
    local = begin.astimezone(zone)
    by = (begin.astimezone(UTC) + takes).astimezone(zone)
    bed = datetime.combine(local.date(), bedtime, tzinfo=zone)
    if bed <= local:
        left = timedelta(0)
    else:
        left = bed.astimezone(UTC) - begin.astimezone(UTC)
    possible = left // timedelta(minutes=pace.every_minutes) * pace.oz
    target = us_fl_oz(target_ml)
    return Sipping(count, takes, local, by, by <= bed, min(possible, target))
