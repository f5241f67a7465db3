"""The words of an email from outside, as plain text that is safe to keep and to show."""

import re
from email.errors import HeaderParseError
from email.header import decode_header
from email.message import Message
from html.parser import HTMLParser

LONGEST_TEXT = 4000  # characters that are kept of an answer
LONGEST_HEADER = 2000  # characters of a header that are looked at
# Controls, and signs that turn the direction of a line or hide in it.
_UNSEEN = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u200b\u200e\u200f\u202a-\u202e\u2060-\u2069\ufeff]"
)
_LINK = re.compile(r"(?:https?://|www\.)\S+", re.IGNORECASE)
# Longer than any word, and as long as half of a link's token: what a broken line left of one.
_TOKEN = re.compile(r"(?<!\w)(?=[\w-]*\d)[\w-]{20,}")
_QUOTE_BEGINS = re.compile(
    r"^(?:-{2,} ?(?:original message|forwarded message|mensaje original)|_{20,}|"
    r"(?:on|el) .{6,200}(?:wrote|escribió):\s*$)",
    re.IGNORECASE,
)
_SILENT = {"head", "script", "style", "title"}
_BREAKS = {"br", "p", "div", "tr", "li", "blockquote", "h1", "h2", "h3"}


def clean(text: str, longest: int) -> str:
    """Return text without controls and unpaired surrogates, at most so many characters."""
    text = text[: longest * 4].encode("utf-8", "replace").decode()
    return _UNSEEN.sub("", text.replace("\r\n", "\n").replace("\r", "\n"))[:longest]


def header(message: Message, name: str) -> str:
    """Return a header in one line, its encoded words (RFC 2047) decoded as far as they can be."""
    found = (value for key, value in message.raw_items() if key.lower() == name.lower())
    raw = str(next(found, ""))[:LONGEST_HEADER]
    raw = raw.encode("utf-8", "surrogateescape").decode("utf-8", "replace")  # RFC 6532
    try:
        pieces = [_decoded(piece, charset) for piece, charset in decode_header(raw)]
    except (HeaderParseError, ValueError):
        pieces = [raw]
    return " ".join(clean("".join(pieces), LONGEST_HEADER).split())


def body(message: Message) -> str:
    """Return the text of a part that is plain text or HTML."""
    payload = message.get_payload(decode=True)
    if not isinstance(payload, bytes):
        return ""
    text = _decoded(payload, message.get_content_charset())
    return from_html(text) if message.get_content_type() == "text/html" else text


def written_anew(text: str) -> str:
    """Return what somebody wrote in an answer: not what it quotes, and no link.

    A quoted email of ours has a personal link, and whoever reads the answer must not have that.
    """
    kept: list[str] = []
    for line in clean(text, LONGEST_TEXT * 4).split("\n"):
        if _QUOTE_BEGINS.match(line.strip()):
            break
        if not line.lstrip().startswith(">"):
            kept.append(line.rstrip())
    said = _TOKEN.sub("[left out]", _LINK.sub("[link left out]", "\n".join(kept)))
    return re.sub(r"\n{3,}", "\n\n", said).strip()[:LONGEST_TEXT]


def from_html(html: str) -> str:
    """Return the words of an HTML text, line by line."""
    reader = _Words()
    reader.feed(html[: LONGEST_TEXT * 10])
    reader.close()
    lines = (" ".join(line.split()) for line in "".join(reader.words).split("\n"))
    return re.sub(r"\n{3,}", "\n\n", "\n".join(lines)).strip()


class _Words(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.words: list[str] = []
        self.silent = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in _SILENT:
            self.silent += 1
        elif tag in _BREAKS:
            self.words.append("\n> " if tag == "blockquote" else "\n")

    def handle_endtag(self, tag: str) -> None:
        if tag in _SILENT:
            self.silent = max(0, self.silent - 1)
        elif tag in _BREAKS:
            self.words.append("\n")

    def handle_data(self, data: str) -> None:
        if not self.silent:
            self.words.append(data.replace("\n", " "))


def _decoded(piece: bytes | str, charset: str | None) -> str:
    if isinstance(piece, str):
        return piece
    try:
        return piece.decode(charset or "utf-8", "replace")
    except (LookupError, ValueError):
        return piece.decode("utf-8", "replace")
