"""Which day and which instant does an HL7 v2 time mean?

A time is YYYYMMDD[HH[MM[SS[.S]]]][+/-ZZZZ] (HL7 2.5 chapter 2A, TS). With an offset it is an
instant, whose day is the programme's local one. Without one it is local; the standard would apply
the offset of MSH-7, which senders rarely mean, so a day that would be another one is in doubt.
"""

import re
from datetime import UTC, date, datetime, timedelta, timezone
from typing import NamedTuple
from zoneinfo import ZoneInfo

from patients.rules.schedule_dates import EARLIEST_YEAR, LATEST_YEAR
from patients.rules.schedule_reasons import Reason

TIME = re.compile(
    r"(?P<day>\d{8})(?:(?P<hour>\d{2})(?:(?P<minute>\d{2})(?:(?P<second>\d{2})(?:\.\d{1,6})?)?)?)?"
    r"(?P<offset>[+-]\d{4})?",
    re.ASCII,
)


class Day(NamedTuple):
    """A local day; `other` is the day it would be by the offset of the message's own time."""

    day: date
    other: date | None = None


def read_day(written: str, *, zone: ZoneInfo, sender_offset: timezone | None) -> Day | Reason:
    """Return the local day that a time means, or why it means none."""
    parts = TIME.fullmatch(written)
    if parts is None:
        return Reason.DATE_UNREADABLE
    at = _clock(parts)
    if at is None:
        return Reason.NO_SUCH_DAY
    if not EARLIEST_YEAR <= at.year <= LATEST_YEAR:
        return Reason.IMPOSSIBLE_YEAR
    if not parts["hour"]:
        return Day(at.date())
    if parts["offset"]:
        offset = _offset(parts["offset"])
        return _local(at, offset, zone) if offset else Reason.DATE_UNREADABLE
    if sender_offset and _local(at, sender_offset, zone).day != at.date():
        return Day(at.date(), _local(at, sender_offset, zone).day)
    return Day(at.date())


def read_instant(written: str, *, zone: ZoneInfo) -> datetime | None:
    """Return the instant that a time means, in UTC; None when it does not say one.

    A day alone is no instant, and neither is a local time of the night in which clocks go back
    that comes twice.
    """
    parts = TIME.fullmatch(written)
    at = _clock(parts) if parts else None
    if parts is None or at is None or not parts["minute"]:
        return None
    if not EARLIEST_YEAR <= at.year <= LATEST_YEAR:
        return None
    if parts["offset"]:
        offset = _offset(parts["offset"])
        return at.replace(tzinfo=offset).astimezone(UTC) if offset else None
    first, second = (at.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
    return first if first >= second else None


def offset_of(written: str) -> timezone | None:
    """Return the offset that a time is written with."""
    parts = TIME.fullmatch(written)
    return _offset(parts["offset"]) if parts and parts["offset"] else None


def _clock(parts: re.Match[str]) -> datetime | None:
    """What a clock and a calendar show, without a zone."""
    day = parts["day"]
    try:
        return datetime(  # noqa: DTZ001 - the zone is put on by the caller
            int(day[:4]),
            int(day[4:6]),
            int(day[6:]),
            int(parts["hour"] or 0),
            int(parts["minute"] or 0),
            int(parts["second"] or 0),
        )
    except ValueError:
        return None


def _offset(written: str) -> timezone | None:
    minutes = int(written[1:3]) * 60 + int(written[3:])
    if minutes > 14 * 60:
        return None
    return timezone(timedelta(minutes=-minutes if written[0] == "-" else minutes))


def _local(at: datetime, offset: timezone, zone: ZoneInfo) -> Day:
    return Day(at.replace(tzinfo=offset).astimezone(zone).date())
