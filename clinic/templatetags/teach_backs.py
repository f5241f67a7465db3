"""How a teach-back, and help asked for to reach a patient, are said on staff's pages."""

from django import template

from clinic.teach_back_words import OUTCOME, understood_words
from education.rules.teach_back import TeachBackOutcome

register = template.Library()


@register.filter
def teach_back_outcome(outcome: str) -> str:
    """Return how a teach-back ended, in words."""
    return OUTCOME[TeachBackOutcome(outcome)]


register.filter("understood", understood_words)
