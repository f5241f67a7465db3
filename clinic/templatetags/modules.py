"""How a module's texts are shown to staff."""

from django import template
from django.template import Context
from django.utils.html import format_html
from django.utils.safestring import SafeString

from education.markdown import to_html
from education.rules.module_parts import in_language
from education.signing import unsigned

register = template.Library()


register.filter(in_language)


@register.filter
def markdown(text: str) -> SafeString:
    """Return the HTML of a text, safe to put on a page."""
    return to_html(text)


@register.simple_tag(takes_context=True)
def unsigned_mark(context: Context, module_id: int) -> SafeString:
    """Mark a module whose latest edition no clinician of the programme has signed.

    Read once for a whole page, however many modules it names.
    """
    request = context["request"]
    if not hasattr(request, "unsigned_modules"):
        request.unsigned_modules = unsigned()
    if module_id not in request.unsigned_modules:
        return SafeString("")
    return format_html(' <span class="unsigned">{}</span>', "unsigned")
