"""The words for the way by which a quiz was given and came back."""

from datetime import date
from zoneinfo import ZoneInfo

from clinic.day_words import day
from education.models import Submission
from education.rules.quiz_way import Way
from patients.clock import local_date

WAY = {
    Way.LINK: "through the emailed link",
    Way.PAPER: "on paper",
    Way.KIOSK: "in the clinic, on a shared screen",
    Way.PHONE: "by phone",
}

# What the patient's history calls the giving, and its end.
GIVEN = {
    Way.LINK: "link sent",
    Way.PAPER: "quiz sheet printed",
    Way.KIOSK: "code for a shared screen made",
    Way.PHONE: "quiz begun by phone",
}
ENDED = {
    Way.LINK: "link ended",
    Way.PAPER: "quiz sheet withdrawn",
    Way.KIOSK: "shared screen left",
    Way.PHONE: "quiz by phone ended",
}

# Whose it should be, by the way it was given.
GIVEN_TO = {
    Way.LINK: "Through the link of",
    Way.PAPER: "On the sheet printed for",
    Way.KIOSK: "On a screen opened for",
    Way.PHONE: "On the phone with",
}


def how_it_came(submission: Submission, *, zone: ZoneInfo) -> str:
    """Return it with who typed it and when; reads the attempt's invitation and `by`."""
    entered = local_date(submission.recorded_at, zone)
    return came(submission.way, str(submission.by or ""), submission.answered_on, entered)


def came(way: Way, by: str, answered_on: date | None, entered_on: date) -> str:
    """Return by which way a quiz came; `by`: who typed it."""
    if way == Way.PAPER and answered_on:
        return f"{WAY[way]}, filled in {day(answered_on)}, entered by {by} on {day(entered_on)}"
    if way == Way.PHONE:
        return f"{WAY[way]}, read by {by}"
    return WAY[way]
