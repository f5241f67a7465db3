"""Template filters for the way by which a quiz came."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django import template
from django.forms import BoundField
from django.utils.safestring import SafeString

from clinic import way_words
from education.models import Submission
from education.rules import quiz_code

register = template.Library()


@register.filter
def how_it_came(submission: Submission, zone: ZoneInfo) -> str:
    """By which way, and who typed it."""
    return way_words.how_it_came(submission, zone=zone)


@register.filter
def given_to_words(submission: Submission) -> str:
    """Say in which sense the patient of the invitation is the one whose quiz it should be."""
    return way_words.GIVEN_TO[submission.way]


@register.filter
def spelled(code: str) -> str:
    """A code in two groups of four."""
    return quiz_code.spelled(code)


@register.filter
def focused(field: BoundField) -> SafeString:
    """A field that has the focus when the page opens."""
    return field.as_widget(attrs={"autofocus": True})


@register.filter
def later(at: datetime, wait: timedelta) -> datetime:
    """The instant so much later."""
    return at + wait
