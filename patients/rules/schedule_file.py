"""Is this a text file, and what does it say?  Bytes in, text out, or a refusal by content."""

import codecs

from patients.rules.schedule_reasons import NotASchedule, Refusal

MAX_BYTES = 25 * 1024 * 1024

# The first bytes tell what a file is, whatever its name says.
SIGNATURES: tuple[tuple[bytes, Refusal], ...] = (
    (b"PK\x03\x04", Refusal.WORKBOOK),  # .xlsx and .zip; told apart below
    (b"PK\x05\x06", Refusal.ARCHIVE),
    (b"\xd0\xcf\x11\xe0", Refusal.WORKBOOK),  # .xls
    (b"%PDF", Refusal.PDF),
    (b"\x1f\x8b", Refusal.ARCHIVE),
    (b"7z\xbc\xaf", Refusal.ARCHIVE),
    (b"Rar!", Refusal.ARCHIVE),
    (b"\x89PNG", Refusal.PICTURE),
    (b"\xff\xd8\xff", Refusal.PICTURE),
    (b"GIF8", Refusal.PICTURE),
    (b"MZ", Refusal.PROGRAM),
    (b"\x7fELF", Refusal.PROGRAM),
    (b"#!", Refusal.PROGRAM),
    (b"{\\rtf", Refusal.MARKUP),
    (b"<", Refusal.MARKUP),
    (b"MSH|", Refusal.MESSAGE),
    (b"{", Refusal.MESSAGE),
)


def read_text(data: bytes, *, max_bytes: int = MAX_BYTES) -> tuple[str, str]:
    """Return the text of a file and the name of its encoding: utf-8, utf-16 or cp1252.

    Raises NotASchedule for what is too big, empty, or no text.
    """
    if len(data) > max_bytes:
        raise NotASchedule(Refusal.TOO_MANY_BYTES, limit=max_bytes // 1024 // 1024)
    _refuse_other_kinds(data)
    text, encoding = _decode(data)
    if not text.strip():
        raise NotASchedule(Refusal.EMPTY)
    return text, encoding


def _refuse_other_kinds(data: bytes) -> None:
    start = data[:64].removeprefix(b"\xef\xbb\xbf").lstrip()
    for signature, refusal in SIGNATURES:
        if not start.startswith(signature):
            continue
        if signature == b"MZ" and b"\0" not in data[:64]:
            continue  # a header may begin with these letters; a program has zero bytes
        if (
            refusal == Refusal.WORKBOOK
            and start.startswith(b"PK")
            and b"[Content_Types]" not in data
        ):
            refusal = Refusal.ARCHIVE
        raise NotASchedule(refusal)


def _decode(data: bytes) -> tuple[str, str]:
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        if data.startswith(codecs.BOM_UTF32_LE):
            raise NotASchedule(Refusal.NOT_TEXT)
        try:
            return data.decode("utf-16"), "utf-16"
        except UnicodeDecodeError as error:
            raise NotASchedule(Refusal.NOT_TEXT) from error
    # Every other byte zero: UTF-16 without its mark, or no text at all. Single ones are left for
    # the row that holds them.
    if data.count(0) * 10 > len(data):
        raise NotASchedule(Refusal.NOT_TEXT)
    for encoding, name in (("utf-8-sig", "utf-8"), ("cp1252", "cp1252")):
        try:
            return data.decode(encoding), name
        except UnicodeDecodeError:
            continue
    raise NotASchedule(Refusal.NOT_TEXT)
