"""What the programme sends of its own accord: the rules in force, their history, quiet hours."""

from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.forms.models import model_to_dict

from education.models import MailRules
from education.rules.standing import Reason, Standing
from education.rules.who_is_written_to import ReminderRule, Settings
from education.rules.working_days import WorkingDays, federal_holidays
from patients.models import Programme, latest_first

# So far around the day asked about is it known when the programme is closed.
KNOWN_AROUND = timedelta(days=400)


def current() -> MailRules:
    """Return the rules in force; before anybody set them nothing is sent by itself."""
    latest = MailRules.objects.order_by(*latest_first()).first()
    return latest or MailRules()


def change(*, at: datetime, by_id: int | None, **rules: Any) -> MailRules:
    """Change some rules from `at` on; the earlier row stays."""
    latest = model_to_dict(current(), exclude=["id", "by", "recorded_at"])
    return MailRules.objects.create(**{**latest, **rules}, recorded_at=at, by_id=by_id)


def settings_of(rules: MailRules, programme: Programme, *, on: date) -> Settings:
    """Return the rules as the pure rule wants them, for days around `on`."""
    return Settings(
        invites=rules.invites,
        reminders=reminders_in(rules.reminders),
        weekly_cap=rules.weekly_cap,
        notice_days=programme.notice_days,
        days=WorkingDays(frozenset(closed_days(rules, on - KNOWN_AROUND, on + KNOWN_AROUND))),
    )


def working_days(on: date) -> WorkingDays:
    """Return the programme's working days around a day."""
    closed = closed_days(current(), on - KNOWN_AROUND, on + KNOWN_AROUND)
    return WorkingDays(frozenset(closed))


def closed_days(rules: MailRules, first: date, last: date) -> dict[date, str]:
    """Return the days of a period on which the programme is closed, weekends apart, with names."""
    found = federal_holidays(first, last) if rules.federal_holidays else {}
    own = {date.fromisoformat(day): name for day, name in rules.closing_days}
    return dict(sorted((found | own).items()))


def reminders_in(stored: Iterable[dict[str, Any]]) -> tuple[ReminderRule, ...]:
    """Read the reminders of a row, the earliest first."""
    rules = [
        ReminderRule(
            days_before=one["days_before"],
            standings=frozenset(Standing(s) for s in one["standings"]),
            how_far=frozenset(Reason(r) for r in one["how_far"]),
        )
        for one in stored
    ]
    return tuple(sorted(rules, key=lambda rule: -rule.days_before))


def as_stored(rules: Sequence[ReminderRule]) -> list[dict[str, Any]]:
    """Write reminders as a row keeps them."""
    return [
        {
            "days_before": rule.days_before,
            "standings": sorted(rule.standings),
            "how_far": sorted(rule.how_far),
        }
        for rule in rules
    ]


def not_quiet(at: datetime, rules: MailRules, zone: ZoneInfo) -> datetime:
    """Return `at`, or the instant at which the quiet hours around it end.

    Where that local time does not exist (clocks go forward) it is an hour later.
    """
    local = at.astimezone(zone)
    if rules.quiet_until <= local.time() < rules.quiet_from:
        return at
    day = local.date()
    if local.time() >= rules.quiet_from:
        day += timedelta(days=1)
    return datetime.combine(day, rules.quiet_until, tzinfo=zone).astimezone(at.tzinfo)
