"""How texts in several languages look on the pages of questions."""

from collections.abc import Mapping

from django import template

register = template.Library()


@register.filter
def said_in(words: Mapping[str, str], code: str) -> str:
    """Return a text in this language and in no other; "" where it has none."""
    return words.get(code, "")
