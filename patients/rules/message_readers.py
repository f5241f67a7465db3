"""Which formats of schedule messages are there, and what reads each?  A new one is a line here."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from patients.rules.fhir_bundle import split_bundle
from patients.rules.fhir_schedule import read_fhir
from patients.rules.hl7_text import split_file
from patients.rules.message_formats import MessageFormat
from patients.rules.message_reading import Frame, MessageRefusal, NotTaken, Part, Reading
from patients.rules.siu import read_siu


@dataclass(frozen=True)
class Reader:
    """How a format is known, how a file of it is parted into messages, and how one is read."""

    begins: tuple[bytes, ...]
    split: Callable[[bytes], list[Part]]
    read: Callable[[bytes, Frame], Reading]


READERS: Mapping[MessageFormat, Reader] = {
    MessageFormat.HL7_V2: Reader((b"MSH", b"FHS", b"BHS"), split_file, read_siu),
    MessageFormat.FHIR_R4: Reader((b"{", b"<Bundle", b"<?xml"), split_bundle, read_fhir),
}


def format_of(data: bytes) -> MessageFormat:
    """Return the format of a file by its first characters. Raises NotTaken for any other file."""
    start = data[:64].removeprefix(b"\xef\xbb\xbf").lstrip(b" \t\r\n\x0b")
    for known, reader in READERS.items():
        if start.startswith(reader.begins):
            return known
    raise NotTaken(MessageRefusal.NOT_A_MESSAGE)
