"""Template tags for forms that write."""

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

from clinic.once import new_key

register = template.Library()


@register.simple_tag
def act_key() -> SafeString:
    """The hidden field by which a form that is sent twice acts once."""
    return format_html('<input type="hidden" name="act_key" value="{}">', new_key())


@register.simple_tag
def act_key_value() -> str:
    """The key alone, for a button that carries it itself: `name="act_key" value="..."`."""
    return new_key()
