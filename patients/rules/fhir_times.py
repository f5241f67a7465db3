"""Which day and which instant does a FHIR R4 date, dateTime or instant mean?

hl7.org/fhir/R4/datatypes.html: a time always has a zone, and its day is the programme's local one;
a date alone is that day; a year or a month alone is legal there, and no day.
"""

import re
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from patients.rules.schedule_dates import EARLIEST_YEAR, LATEST_YEAR
from patients.rules.schedule_reasons import Reason

PARTIAL = re.compile(r"\d{4}(-\d{2})?", re.ASCII)
DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
TIME = re.compile(r"(\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2})(?:\.\d+)?(Z|[+-]\d{2}:\d{2})", re.ASCII)


def read_day(written: str, *, zone: ZoneInfo) -> date | Reason:
    """Return the local day, or why there is none."""
    if PARTIAL.fullmatch(written):
        return Reason.DATE_PARTIAL
    try:
        if DAY.fullmatch(written):
            found = date.fromisoformat(written)
        elif (at := read_instant(written)) is not None:
            found = at.astimezone(zone).date()
        elif TIME.fullmatch(written):
            return Reason.NO_SUCH_DAY
        else:
            return Reason.DATE_UNREADABLE
    except (ValueError, OverflowError):
        return Reason.NO_SUCH_DAY
    return found if EARLIEST_YEAR <= found.year <= LATEST_YEAR else Reason.IMPOSSIBLE_YEAR


def read_instant(written: str) -> datetime | None:
    """Return the instant in UTC; None when it is none. Parts of a second are passed over."""
    parts = TIME.fullmatch(written)
    if parts is None:
        return None
    try:
        return datetime.fromisoformat(parts[1] + parts[2].replace("Z", "+00:00")).astimezone(UTC)
    except (ValueError, OverflowError):
        return None
