"""How a module's texts are shown to staff."""

from collections.abc import Mapping

from django import template
from django.utils.safestring import SafeString

from education.markdown import to_html
from education.rules.module_text import SOURCE_LANGUAGE

register = template.Library()


@register.filter
def in_language(text: Mapping[str, str], language: str) -> str:
    """Return a text in a language, or in the one that it was written in."""
    return text.get(language) or text.get(SOURCE_LANGUAGE, "")


@register.filter
def markdown(text: str) -> SafeString:
    """Return the HTML of a text, safe to put on a page."""
    return to_html(text)
