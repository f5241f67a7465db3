"""Turn the Markdown of a module's text into HTML that is safe to put on a page."""

from functools import lru_cache

import nh3
from django.utils.safestring import SafeString, mark_safe
from markdown_it import MarkdownIt

_READER = MarkdownIt("commonmark", {"html": False})
_TAGS = {"p", "ul", "ol", "li", "strong", "em", "a", "br", "h3", "h4", "blockquote"}
_SCHEMES = {"https", "http", "mailto", "tel"}


@lru_cache(maxsize=512)
def to_html(text: str) -> SafeString:
    """Return the HTML of a text; markup in it is shown as it was typed, never run."""
    cleaned = nh3.clean(
        _READER.render(text), tags=_TAGS, attributes={"a": {"href"}}, url_schemes=_SCHEMES
    )
    return mark_safe(cleaned)
