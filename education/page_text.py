"""Cut templates and messages into the blocks that a reader meets, without rendering them."""

import html
import re
from collections.abc import Iterable
from html.parser import HTMLParser

from django.template.base import Lexer, Token, TokenType

from education.rules.reading import count_words

_TRANSLATED = re.compile(r"""^(?:trans|translate)\s+("[^"]*"|'[^']*')(.*)$""", re.DOTALL)
_FORMAT = re.compile(r"%\(\w+\)[sd]|%[sd]|\{\w*\}")
_PARAGRAPH_BREAK = re.compile(r"\n\s*\n")
_INLINE_TAGS = frozenset({"a", "abbr", "b", "bdi", "em", "i", "mark", "span", "strong", "time"})
_UNREAD_TAGS = frozenset({"script", "style", "svg", "template"})
_BREAK = "\n\n"
_PLACEHOLDER = "it"
"""What a value filled in later counts as: one word of one syllable."""


def template_blocks(source: str) -> tuple[str, ...]:
    """Cut a template into the blocks a reader meets, without rendering it.

    Translated texts stay in place, a value filled in later counts as one short word, and every
    branch of a condition is taken. Attributes are not read.
    """
    page = _PageText()
    page.feed(_without_template_tags(source))
    page.close()
    cut = (" ".join(block.split()) for block in _PARAGRAPH_BREAK.split("".join(page.pieces)))
    return tuple(block for block in cut if count_words(block))


def message_blocks(messages: Iterable[str | Iterable[str]]) -> tuple[str, ...]:
    """Cut the messages of a catalogue (a text, or its singular and plural) into blocks."""
    texts: list[str] = []
    for message in messages:
        texts += [message] if isinstance(message, str) else list(message)
    filled = (_FORMAT.sub(_PLACEHOLDER, text) for text in texts)
    return tuple(block for text in filled for block in template_blocks(text))


def _without_template_tags(source: str) -> str:
    words: list[str] = []
    in_comment = False
    for token in Lexer(source).tokenize():
        if token.token_type is TokenType.BLOCK and token.contents in {"comment", "endcomment"}:
            in_comment = token.contents == "comment"
        elif not in_comment:
            words.append(_token_words(token))
    return "".join(words)


def _token_words(token: Token) -> str:
    """What a reader would see of one piece of a template."""
    if token.token_type is TokenType.TEXT:
        return token.contents
    if token.token_type is TokenType.VAR:
        return _PLACEHOLDER
    if token.token_type is TokenType.COMMENT:
        return ""
    translated = _TRANSLATED.match(token.contents)
    if translated is None:
        # The plural form of a text is another text, not more of the same.
        return _BREAK if token.contents == "plural" else ""
    text = html.escape(translated[1][1:-1])
    # With "as name" the text is shown elsewhere: a block of its own here.
    return f"{_BREAK}{text}{_BREAK}" if re.search(r"\sas\s", translated[2]) else text


class _PageText(HTMLParser):
    """Collects the words of a page; a block element breaks the text, an inline one does not."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.pieces: list[str] = []
        self._unread = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._unread += tag in _UNREAD_TAGS
        self._break_unless_inline(tag)

    def handle_endtag(self, tag: str) -> None:
        self._unread -= tag in _UNREAD_TAGS
        self._break_unless_inline(tag)

    def handle_data(self, data: str) -> None:
        if not self._unread:
            self.pieces.append(data)

    def _break_unless_inline(self, tag: str) -> None:
        if tag not in _INLINE_TAGS:
            self.pieces.append(_BREAK)
