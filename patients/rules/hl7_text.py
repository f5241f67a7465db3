"""What stands in an HL7 v2 message?  Bytes in; segments, fields and their parts out.

The `hl7` package parts the message; here is what it leaves to its caller: line ends, character
sets, the file around several messages, and escape sequences (the package's own reader of those
writes what it cannot read into the log, which is patients' facts).
"""

import re
from dataclasses import dataclass
from typing import Any

import hl7

from patients.rules.message_reading import MAX_MESSAGE_BYTES, MessageRefusal, NotTaken, Part

# MSH, the field separator, two to five encoding characters (the fifth came with 2.7), and again
# the field separator. All are signs, each another one (HL7 2.5 chapter 2, section 2.5.4).
HEADER = re.compile(r"MSH([!-/:-@\[-`{-~])([!-/:-@\[-`{-~]{2,5})\1")
SEGMENT = re.compile(r"[A-Z][A-Z0-9]{2}(?=[^A-Za-z0-9]|$)")
# What stands around the messages of a file (chapter 2, section 2.10.3).
ENVELOPE = (b"FHS", b"BHS", b"BTS", b"FTS")
FRAMING = b"\x0b\x1c"
# The segments that are read; the others (notes, diagnoses, observations) are not even parted.
READ = ("MSH", "SCH", "TQ1", "PID", "AIS", "AIL", "AIP")
# How many signs may part the segments that are read: parting costs time.
MAX_PARTS = 5000

# Names of MSH-18, as table 0211 writes them and as they are met; "" is what is not said.
CHARACTER_SETS = {
    "": "",
    "ASCII": "ascii",
    "UNICODE UTF-8": "utf-8",
    "UTF-8": "utf-8",
    "UTF8": "utf-8",
    "8859/1": "iso-8859-1",
    "ISO-8859-1": "iso-8859-1",
    "ISO8859-1": "iso-8859-1",
    "WINDOWS-1252": "cp1252",
    "CP1252": "cp1252",
}
NULL = '""'


@dataclass(frozen=True)
class Text:
    """The segments of a message that are read, parted by CR; whether the letters are a guess."""

    text: str
    guessed: bool


class Message:
    """A parted message: `value("PID", 5, 2)` is the given name."""

    def __init__(self, text: Text) -> None:
        self.guessed = text.guessed
        parted = hl7.parse(text.text)
        self._escape: str = parted.esc
        signs: str = parted.separators
        self._sequences: dict[str, str] = {
            "F": signs[1],
            "R": signs[2],
            "S": signs[3],
            "T": signs[4],
            "E": self._escape,
            "H": "",
            "N": "",
            ".br": " ",
            ".sp": " ",
        }
        self._parted: dict[tuple[str, int, int], list[list[list[str]]]] = {}
        self._segments: dict[str, list[Any]] = {}
        for segment in parted:
            self._segments.setdefault(str(segment[0]), []).append(segment)

    def count(self, name: str) -> int:
        """Return how many segments have this name."""
        return len(self._segments.get(name, ()))

    def repetitions(self, name: str, field: int, *, nth: int = 0) -> list[list[list[str]]]:
        """Return a field of the nth segment of a name: repetitions of components of parts.

        Nothing at all and the standard's empty value ("") are both an empty list.
        """
        key = (name, field, nth)
        if key not in self._parted:
            self._parted[key] = self._part(*key)
        return self._parted[key]

    def _part(self, name: str, field: int, nth: int) -> list[list[list[str]]]:
        segments = self._segments.get(name, [])
        if nth >= len(segments) or field >= len(segments[nth]):
            return []
        found = [self._components(repetition) for repetition in segments[nth][field]]
        return found if any(part for one in found for parts in one for part in parts) else []

    def value(
        self, name: str, field: int, component: int = 1, *, nth: int = 0, repetition: int = 0
    ) -> str:
        """Return one component's first part, without blanks around it; empty when not there."""
        found = self.repetitions(name, field, nth=nth)
        return part(found[repetition], component) if repetition < len(found) else ""

    def whole(self, name: str, field: int) -> str:
        """Return a field as it is written, with its signs, and escape sequences left alone."""
        segments = self._segments.get(name, [])
        return str(segments[0][field]) if segments and field < len(segments[0]) else ""

    def _components(self, repetition: Any) -> list[list[str]]:
        if isinstance(repetition, str):
            return [[self._plain(repetition)]]
        return [
            [self._plain(one)] if isinstance(one, str) else [self._plain(str(x)) for x in one]
            for one in repetition
        ]

    def _plain(self, text: str) -> str:
        """Undo the escape sequences; one that is not known stays as it is written."""
        if text == NULL:
            return ""
        if self._escape not in text:
            return text
        pieces = text.split(self._escape)
        plain = [pieces[0]]
        rest = iter(pieces[1:])
        for sequence in rest:
            after = next(rest, None)
            if after is None:  # an escape character that nothing closes
                plain.append(self._escape + sequence)
                break
            plain += [self._meant(sequence), after]
        return "".join(plain)

    def _meant(self, sequence: str) -> str:
        if sequence in self._sequences:
            return self._sequences[sequence]
        if re.fullmatch(r"X(?:[0-9A-Fa-f]{2})+", sequence):
            return bytes.fromhex(sequence[1:]).decode("utf-8", "replace")
        return f"{self._escape}{sequence}{self._escape}"


def part(repetition: list[list[str]], component: int) -> str:
    """Return the first part of a component, without blanks around it; empty when not there."""
    if component > len(repetition):
        return ""
    return repetition[component - 1][0].strip()


def split_file(data: bytes) -> list[Part]:
    """Return the messages of a file, in order, without what stands around them.

    Raises NotTaken for a file without a message, and for one whose trailer counts other messages
    than are there: it was cut off.
    """
    found: list[tuple[int, list[bytes]]] = []
    counted: list[bytes] = []
    lines = re.split(rb"\r\n|\r|\n", data.removeprefix(b"\xef\xbb\xbf"))
    for number, raw in enumerate(lines, start=1):
        line = raw.strip(FRAMING)
        if not line.strip():
            continue
        if line.startswith(ENVELOPE):
            if line.startswith(b"BTS") and (count := re.match(rb"BTS.(\d+)", line)):
                counted.append(count[1])
        elif line.startswith(b"MSH"):
            found.append((number, [line]))
        elif found:
            found[-1][1].append(line)
        else:
            raise NotTaken(MessageRefusal.NOT_A_MESSAGE)
    if not found:
        raise NotTaken(MessageRefusal.NOT_A_MESSAGE)
    if counted and sum(map(int, counted)) != len(found):
        raise NotTaken(MessageRefusal.COUNT_DIFFERS, "BTS-1", f"{len(found)}")
    return [Part(number, b"\r".join(message)) for number, message in found]


def read_message(content: bytes) -> Text:
    """Return one message as text. Raises NotTaken when it is none."""
    if len(content) > MAX_MESSAGE_BYTES:
        raise NotTaken(MessageRefusal.TOO_LONG)
    lines = re.split(rb"\r\n|\r|\n", content.removeprefix(b"\xef\xbb\xbf"))
    data = b"\r".join(line for raw in lines if (line := raw.strip(FRAMING)).strip())
    header = HEADER.match(data.split(b"\r")[0].decode("latin-1"))
    if header is None or len(set(header[0][3:-1])) < len(header[0][3:-1]):
        raise NotTaken(MessageRefusal.NOT_A_MESSAGE, "MSH-2")
    text, guessed = _decode(data, header[1], header[2])
    segments = text.split("\r")
    if not all(map(SEGMENT.match, segments)):
        # A line break inside a field: what stands behind it would be read as nothing.
        raise NotTaken(MessageRefusal.NOT_A_MESSAGE, "a line that is no segment")
    read = "\r".join(line for line in segments if line.startswith(READ))
    if sum(map(read.count, header[1] + header[2])) > MAX_PARTS:
        raise NotTaken(MessageRefusal.TOO_LONG)
    return Text(read, guessed)


def _decode(data: bytes, separator: str, signs: str) -> tuple[str, bool]:
    """By MSH-18; without one by UTF-8, or else by Windows-1252, which is a guess."""
    fields = data.split(b"\r")[0].decode("latin-1").split(separator)
    named = fields[17] if len(fields) > 17 else ""
    repeats = signs[1]
    name = " ".join(named.split(repeats)[0].split()).upper()
    if data.isascii():
        return data.decode("ascii"), False
    encoding = CHARACTER_SETS.get(name)
    if encoding is None:
        raise NotTaken(MessageRefusal.CHARACTER_SET, "MSH-18", name[:40])
    try:
        if encoding:
            return data.decode(encoding), False
        try:
            return data.decode("utf-8"), False
        except UnicodeDecodeError:
            return data.decode("cp1252"), True
    except UnicodeDecodeError as error:
        raise NotTaken(MessageRefusal.CHARACTER_SET, "MSH-18", name[:40]) from error
