"""Text that was typed or pasted into the editor, made plain Markdown.

A word processor leaves its own markup, blanks that are none, and bullets that are no list.
"""

import html
import re
import unicodedata

import nh3

_MARKUP = re.compile(r"<(?:!|/?[a-zA-Z])[^>]*>")
_BLOCK_END = re.compile(r"</(?:p|div|h[1-6]|tr|table)\s*>|<br\s*/?>", re.IGNORECASE)
_ITEM = re.compile(r"<li[^>]*>", re.IGNORECASE)
_BULLET = re.compile(r"^[ \t]*(?:[•·▪◦‣\uf0b7][ \t]+|o\t)", re.MULTILINE)
_NUMBERED = re.compile(r"^[ \t]*(\d{1,2})[.)]\t+", re.MULTILINE)
_BLANKS = re.compile(r"[ \t]+$", re.MULTILINE)
_GAPS = re.compile(r"\n{3,}")
# The zero-width blank, the soft hyphen and the byte-order mark: nobody sees them, and they part
# words for whoever searches or reads aloud.
_UNSEEN = dict.fromkeys(map(ord, "\u200b\u2060\ufeff\u00ad"), None)


def clean(text: str) -> str:
    """Return a text without markup, unseen characters, and a word processor's blanks and bullets.

    Markdown stays as it was typed. What no text has (NUL and other controls) is left out.
    """
    text = text.replace("\r\n", "\n").replace("\r", "\n").replace("\v", "\n").replace("\f", "\n")
    if _MARKUP.search(text):
        text = _ITEM.sub("\n- ", _BLOCK_END.sub("\n\n", text))
        text = html.unescape(nh3.clean(text, tags=set(), clean_content_tags={"script", "style"}))
    text = text.translate(_UNSEEN).replace("\u00a0", " ").replace("\u2028", "\n")
    text = "".join(c for c in text if c in "\n\t" or unicodedata.category(c) not in {"Cc", "Cs"})
    text = _NUMBERED.sub(r"\1. ", _BULLET.sub("- ", text))
    return _GAPS.sub("\n\n", _BLANKS.sub("", text)).strip()
