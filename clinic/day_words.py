"""Dates and counts of days in words: always with the month's name."""

from datetime import date


def day(value: date) -> str:
    """Return a date with the month's name: 5 December 2026."""
    return f"{value.day} {value:%B %Y}"


def short_day(value: date) -> str:
    """Return a date without its year, where the year is plain: 5 December."""
    return f"{value.day} {value:%B}"


def days(count: int) -> str:
    """Return a number of days in words: 1 day, 3 days."""
    return f"{count} day" if count == 1 else f"{count} days"


def away(value: date, *, on: date) -> str:
    """Return how far a date is from the day `on`: in 3 days, today, 2 days ago."""
    distance = (value - on).days
    near = {-1: "yesterday", 0: "today", 1: "tomorrow"}
    if distance in near:
        return near[distance]
    return f"in {distance} days" if distance > 0 else f"{-distance} days ago"
