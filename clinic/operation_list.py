"""Which operations does the coordinator ask for: of a day, of a week, without a date, passed?"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from django.utils.dateparse import parse_date

from clinic.forms.operations import EARLIEST, LATEST
from patients.models import Operation, OperationQuerySet

DAY = timedelta(days=1)
WEEK = timedelta(days=7)


class Show(StrEnum):
    DAY = "day"
    WEEK = "week"
    WITHOUT_DATE = "without-date"
    PASSED = "passed"


@dataclass(frozen=True)
class Which:
    """What is asked for; `day` is the day, or the Monday of the week, or today."""

    show: Show
    day: date
    on: date

    @property
    def monday(self) -> date:
        """The Monday of the week around the day."""
        return self.day - timedelta(days=self.day.weekday())

    @property
    def sunday(self) -> date:
        """The last day of that week."""
        return self.monday + 6 * DAY

    @property
    def week_days(self) -> list[date]:
        """The seven days of that week."""
        return [self.monday + n * DAY for n in range(7)]

    @property
    def weeks_away(self) -> int:
        """How many weeks lie between that week and this one."""
        return (self.monday - (self.on - timedelta(days=self.on.weekday()))).days // 7

    @property
    def step(self) -> timedelta:
        """From one day to the next, or from one week to the next."""
        return DAY if self.show == Show.DAY else WEEK

    @property
    def before(self) -> date:
        """The day or the week before."""
        return max(self.day - self.step, EARLIEST)

    @property
    def after(self) -> date:
        """The day or the week after."""
        return min(self.day + self.step, LATEST)

    @property
    def query(self) -> str:
        """What the address says of it."""
        if self.show in (Show.DAY, Show.WEEK):
            return f"{self.show}={self.day.isoformat()}"
        return f"show={self.show}"

    def rows(self) -> OperationQuerySet:
        """Return the operations in the order of their dates."""
        rows = Operation.objects.all()
        if self.show == Show.DAY:
            rows = rows.filter(or_date=self.day)
        elif self.show == Show.WEEK:
            rows = rows.filter(or_date__gte=self.monday, or_date__lte=self.sunday)
        elif self.show == Show.PASSED:
            rows = rows.date_passed(on=self.on)
        else:
            rows = without_date()
        return rows.select_related("patient", "procedure").order_by("or_date", "id")


def asked_for(query: Mapping[str, str], *, on: date) -> Which:
    """Read what an address asks for; what makes no sense is this week."""
    if query.get("show") in (Show.WITHOUT_DATE, Show.PASSED):
        return Which(Show(query["show"]), on, on)
    if "day" in query:
        return Which(Show.DAY, _day(query["day"]) or on, on)
    week = Which(Show.WEEK, _day(query.get("week", "")) or on, on)
    return Which(Show.WEEK, week.monday, on)


def without_date() -> OperationQuerySet:
    """Open operations that have no date yet."""
    return Operation.objects.still_open().filter(or_date__isnull=True)


def _day(text: str) -> date | None:
    """Return the day that a text names, within what a schedule can hold."""
    try:
        day = parse_date(text)
    except ValueError:
        return None
    return min(max(day, EARLIEST), LATEST) if day else None
