"""Fluids and sips, against standards NUT-20 to NUT-24 and NUT-50."""

from datetime import datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from education.rules.fluids import Pace, millilitres, sipping, sips_needed, us_fl_oz, whole

ZONE = ZoneInfo("America/Chicago")
QUARTER = Pace(Decimal(1), 15)
BED = time(22, 0)


def test_conversions() -> None:
    assert float(millilitres(64)) == pytest.approx(1892.7, abs=0.05)  # NUT-20
    assert float(us_fl_oz(1500)) == pytest.approx(50.7, abs=0.05)  # NUT-21
    assert whole(millilitres(64) - 1500) == 393  # NUT-21: how far the two targets lie apart
    assert float(millilitres(1)) == pytest.approx(29.5735, rel=1e-4)  # 16 CFR 500.19(a)


def test_a_published_rate_over_a_waking_day() -> None:
    """NUT-24: 3 fl oz every 30 minutes over 14 hours is 2.48 L."""
    assert float(millilitres(3 * 28)) == pytest.approx(2484, abs=1)


@pytest.mark.parametrize(
    "ml, sips, hours",
    [(1893, 64, 16), (1500, 51, 12.75), (0, 0, 0), (30, 1, 0.25)],  # one an hour-quarter: by hand
)
def test_sips(ml: int, sips: int, hours: float) -> None:
    assert sips_needed(ml, QUARTER) == sips
    begin = datetime(2026, 3, 10, 6, 0, tzinfo=ZONE)
    found = sipping(ml, QUARTER, begin=begin, bedtime=BED, zone=ZONE)
    assert found.takes == timedelta(hours=hours)


@pytest.mark.parametrize(
    "begin, by, today, why",
    [
        (datetime(2026, 3, 10, 6, 0, tzinfo=ZONE), "22:00", True, "from six to ten: 16 hours"),
        (datetime(2026, 3, 10, 7, 0, tzinfo=ZONE), "23:00", False, "an hour past bedtime"),
        (datetime(2026, 3, 8, 1, 0, tzinfo=ZONE), "18:00", True, "the clocks go forward"),
        (datetime(2026, 11, 1, 0, 30, tzinfo=ZONE), "15:30", True, "the clocks go back"),
    ],
)
def test_by_what_time_today(begin: datetime, by: str, today: bool, why: str) -> None:
    found = sipping(1893, QUARTER, begin=begin, bedtime=BED, zone=ZONE)
    assert (f"{found.by:%H:%M}", found.today) == (by, today), why


def test_what_is_drunk_by_bedtime() -> None:
    begin = datetime(2026, 3, 10, 18, 5, tzinfo=ZONE)
    found = sipping(1893, QUARTER, begin=begin, bedtime=BED, zone=ZONE)
    assert found.oz_by_bedtime == 15  # 3 h 55 min: fifteen whole quarters
    late = datetime(2026, 3, 10, 23, 0, tzinfo=ZONE)
    assert sipping(1893, QUARTER, begin=late, bedtime=BED, zone=ZONE).oz_by_bedtime == 0
