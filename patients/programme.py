"""The programme's own settings: found it, change it, read what is in force."""

from datetime import date, datetime
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

from django.db import transaction
from django.db.models import QuerySet
from django.forms.models import model_to_dict

from patients.clock import local_date
from patients.models import Programme, latest_first
from patients.prepared import prepared


class NotFounded(Exception):
    """There is no programme yet."""


def found(
    *,
    name: str,
    time_zone: str,
    phone: str,
    at: datetime,
    by_id: int | None = None,
    **settings: Any,
) -> Programme:
    """Write the programme's first settings. Raises ValueError for an unknown time zone."""
    return _write(
        {"name": name, "time_zone": time_zone, "phone": phone, **settings}, at=at, by_id=by_id
    )


def change(*, at: datetime, by_id: int, **settings: Any) -> Programme:
    """Change some settings from `at` on; the earlier row stays.

    Two who change them at once go one after the other: each leaves what the other changed.
    """
    with transaction.atomic():
        Programme.objects.select_for_update().order_by("id").first()
        before = current()
        latest = model_to_dict(before, exclude=["id", "by", "recorded_at"])
        return _write({**latest, **settings}, at=max(at, before.recorded_at), by_id=by_id)


def current(*, known_at: datetime | None = None) -> Programme:
    """Return the settings in force, now or before a past instant; NotFounded if there are none."""
    if known_at is None:
        latest = _latest.first()
    else:
        rows = Programme.objects.filter(recorded_at__lt=known_at).order_by(*latest_first())
        latest = rows.first() or Programme.objects.order_by("recorded_at", "id").first()
    if latest is None:
        raise NotFounded
    return latest


@prepared
def _latest() -> QuerySet[Programme]:
    return Programme.objects.order_by(*latest_first())[:1]


def local_day(at: datetime) -> date:
    """Return the programme's calendar date of an instant."""
    return local_date(at, current().zone)


@cache
def time_zones() -> frozenset[str]:
    """Return the names of all time zones; looked up once, as that reads hundreds of files."""
    return frozenset(available_timezones())


def _write(settings: dict[str, Any], *, at: datetime, by_id: int | None) -> Programme:
    if settings["time_zone"] not in time_zones():
        raise ValueError(f"unknown time zone: {settings['time_zone']}")
    ZoneInfo(settings["time_zone"])
    return Programme.objects.create(recorded_at=at, by_id=by_id, **settings)
