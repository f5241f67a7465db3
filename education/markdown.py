"""Turn the Markdown of a module's text into HTML that is safe to put on a page."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import nh3
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from markdown_it import MarkdownIt
from markdown_it.renderer import RendererProtocol
from markdown_it.token import Token

_TAGS = {"p", "ul", "ol", "li", "strong", "em", "a", "br", "h3", "h4", "blockquote", "img"}
_ATTRIBUTES = {
    "a": {"href"},
    "img": {"src", "srcset", "sizes", "alt", "width", "height", "loading", "decoding"},
}
_SCHEMES = {"https", "http", "mailto", "tel"}


@dataclass(frozen=True)
class ShownPicture:
    """A picture of a section in one language: two sizes of it, and what it shows in words.

    `alt` is empty for decoration. `width` and `height` are the large size's, in pixels.
    """

    key: str
    src: str
    small: str
    small_width: int
    alt: str
    width: int
    height: int


@lru_cache(maxsize=512)
def to_html(text: str, pictures: tuple[ShownPicture, ...] = ()) -> SafeString:
    """Return the HTML of a text; markup in it is shown as it was typed, never run.

    Where it has `![](key)` stands the picture of that key; an image that is none of `pictures` is
    left out, from wherever it would come.
    """
    known = {picture.key: picture for picture in pictures}
    cleaned = nh3.clean(
        _READER.render(text, {"pictures": known}),
        tags=_TAGS,
        attributes=_ATTRIBUTES,
        url_schemes=_SCHEMES,
    )
    return mark_safe(cleaned)


def _picture(
    renderer: RendererProtocol, tokens: Sequence[Token], index: int, options: Any, env: Any
) -> str:
    shown = env["pictures"].get(tokens[index].attrs.get("src", ""))
    if shown is None:
        return ""
    # Fetched when it is reached: the first view stays light, and the words come first.
    return format_html(
        '<img src="{}" srcset="{} {}w, {} {}w" sizes="(max-width: 41rem) 92vw, 37rem" alt="{}"'
        ' width="{}" height="{}" loading="lazy" decoding="async">',
        shown.src,
        shown.small,
        shown.small_width,
        shown.src,
        shown.width,
        shown.alt,
        shown.width,
        shown.height,
    )


_READER = MarkdownIt("commonmark", {"html": False})
_READER.add_render_rule("image", _picture)
