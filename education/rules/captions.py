"""Can a video be followed without hearing it? Reads a file of captions (WebVTT, W3C).

Browsers leave out silently what they cannot read, so that nobody notices that a caption is missing.
Here it is refused instead, with its line. What is served is written anew from the captions that
were read: comments, styles and regions stay behind.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

MOST_BYTES = 500_000
MOST_CUES = 5_000

_TIME = r"(?:(\d{1,5}):)?([0-5]\d):([0-5]\d)\.(\d{3})"
_TIMINGS = re.compile(rf"[ \t]*{_TIME}[ \t]*-->[ \t]*{_TIME}(?:[ \t]+(\S.*?))?[ \t]*")
_OTHER_DECIMAL = re.compile(r"\d,\d{3}")
_LINE_END = re.compile(r"\r\n|\r|\n")
_TAG = re.compile(r"<[^>]*>")
_SETTING = re.compile(r"(?:vertical|line|position|size|align):[\w.,%-]+")


class BadCaptions(ValueError):
    """The file cannot be used. `line` is the number of the line, from 1; the text says why."""

    def __init__(self, line: int, why: str) -> None:
        super().__init__(f"Line {line}: {why}")
        self.line = line


@dataclass(frozen=True)
class Cue:
    """One caption: from when to when, in milliseconds, where it stands, and its lines."""

    start: int
    end: int
    settings: str
    lines: tuple[str, ...]


def read_captions(data: bytes) -> tuple[Cue, ...]:
    """Return the captions of a file.

    Raises BadCaptions with the first line that is wrong: no signature, no UTF-8, a time that is
    none, an end before its start, a start before that of the caption above, nothing in a caption.
    """
    if len(data) > MOST_BYTES:
        raise BadCaptions(1, f"the file has more than {MOST_BYTES // 1000} kB; captions are text.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = len(_LINE_END.findall(data[: error.start].decode("utf-8", "replace"))) + 1
        raise BadCaptions(line, "this is not UTF-8 text. Save the file as UTF-8.") from error
    lines = _LINE_END.split(text.replace("\x00", "\ufffd"))
    if not re.fullmatch(r"WEBVTT(?:[ \t].*)?", lines[0]):
        raise BadCaptions(1, _no_signature(text))
    cues: list[Cue] = []
    for at, block in _blocks(lines):
        cue = _cue(at, block, after=cues[-1].start if cues else 0)
        if cue is not None:
            cues.append(cue)
    if not cues:
        raise BadCaptions(len(lines), "there is no caption in the file.")
    if len(cues) > MOST_CUES:
        raise BadCaptions(len(lines), f"there are more than {MOST_CUES} captions.")
    return tuple(cues)


def written(cues: Iterable[Cue]) -> str:
    """Return the captions as a file of their own."""
    blocks = ["WEBVTT"]
    for cue in cues:
        timings = f"{_clock(cue.start)} --> {_clock(cue.end)} {cue.settings}".rstrip()
        blocks.append("\n".join((timings, *cue.lines)))
    return "\n\n".join(blocks) + "\n"


def spoken(cues: Iterable[Cue]) -> str:
    """Return what the captions say, as one text: the beginning of a transcript."""
    said: list[str] = []
    for cue in cues:
        line = " ".join(" ".join(cue.lines).split())
        plain = _TAG.sub("", line).strip()
        for entity, sign in (("&lt;", "<"), ("&gt;", ">"), ("&nbsp;", " "), ("&amp;", "&")):
            plain = plain.replace(entity, sign)
        if plain and (not said or said[-1] != plain):
            said.append(plain)
    return "\n\n".join(said)


def _no_signature(text: str) -> str:
    if re.match(r"\s*\d+\s*[\r\n]+\s*\d\d:\d\d:\d\d,\d{3} -->", text):
        return "this is an SRT file. Save the captions as WebVTT (.vtt)."
    return "the first line must be WEBVTT."


def _blocks(lines: list[str]) -> Iterator[tuple[int, list[str]]]:
    """Yield what stands between empty lines, each with the number of its first line."""
    begun, block = 2, list[str]()
    if len(lines) > 1 and lines[1] != "":
        raise BadCaptions(2, "an empty line must stand below WEBVTT.")
    for number, line in enumerate([*lines[1:], ""], start=2):
        if line:
            begun = begun if block else number
            block.append(line)
        elif block:
            yield begun, block
            block = []


def _cue(at: int, block: list[str], *, after: int) -> Cue | None:
    """Return the caption of a block; None for a comment, a style or a region."""
    if re.fullmatch(r"NOTE(?:[ \t].*)?|STYLE[ \t]*|REGION[ \t]*", block[0]):
        return None
    named = "-->" not in block[0] and len(block) > 1
    at, block = (at + 1, block[1:]) if named else (at, block)
    found = _TIMINGS.fullmatch(block[0])
    if found is None:
        raise BadCaptions(at, _no_times(block[0]))
    start, end = _milliseconds(found.groups()[:4]), _milliseconds(found.groups()[4:8])
    if end <= start:
        raise BadCaptions(at, "the caption ends before it begins.")
    if start < after:
        raise BadCaptions(at, "the caption begins before the one above it.")
    for offset, line in enumerate(block[1:], start=1):
        if "-->" in line:
            said = "a time stands inside a caption. Put an empty line above it."
            raise BadCaptions(at + offset, said)
    if not any(_TAG.sub("", line).strip() for line in block[1:]):
        raise BadCaptions(at, "nothing is said in this caption.")
    settings = " ".join(s for s in (found[9] or "").split() if _SETTING.fullmatch(s))
    return Cue(start, end, settings, tuple(block[1:]))


def _no_times(line: str) -> str:
    if "-->" in line and _OTHER_DECIMAL.search(line):
        return "write a point before the thousandths, not a comma: 00:01.000."
    if "-->" not in line:
        return "here a time was expected, such as 00:01.000 --> 00:04.000."
    return f"“{line.strip()[:60]}” is no time. Write it as 00:01.000 --> 00:04.000."


def _milliseconds(parts: tuple[str | None, ...]) -> int:
    hours, minutes, seconds, thousandths = (int(part or 0) for part in parts)
    return ((hours * 60 + minutes) * 60 + seconds) * 1000 + thousandths


def _clock(milliseconds: int) -> str:
    seconds, thousandths = divmod(milliseconds, 1000)
    minutes, seconds = divmod(seconds, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02}:{minutes:02}:{seconds:02}.{thousandths:03}"
