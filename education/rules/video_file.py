"""Is a file a video that phones can play? Tells by its content, never by its name.

MP4 (ISO/IEC 14496-12) is a chain of boxes: 4 bytes of length, 4 of type, then the content. WebM is
told by its EBML header (RFC 8794). What is inside the pictures and the sound is not looked at.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import IO


class VideoKind(StrEnum):
    """The values are the ends of the names under which a video is kept."""

    MP4 = "mp4"
    WEBM = "webm"


class NotAVideo(StrEnum):
    """Why a file is not taken."""

    NO_VIDEO = "no_video"
    CUT_OFF = "cut_off"
    FEW_CAN_PLAY = "few_can_play"


@dataclass(frozen=True)
class Box:
    """One box of an MP4 file: its type and where that stands, where its content begins and ends."""

    type: bytes
    type_at: int
    begin: int
    end: int


# H.264 plays everywhere; AV1 and VP9 in every browser of today but the oldest phones'.
PLAYED = frozenset({b"avc1", b"avc3", b"av01", b"vp09", b"vp08"})
_EBML = b"\x1a\x45\xdf\xa3"
_TO_SAMPLES = (b"mdia", b"minf", b"stbl", b"stsd")
_TELLS = frozenset({b"udta", b"meta"})
_MOST_BOXES = 100_000


def what_video(file: IO[bytes], size: int) -> VideoKind | NotAVideo:
    """Return the kind of a video of `size` bytes, or why it is none that is taken."""
    file.seek(0)
    head = file.read(64)
    if head[:4] == _EBML:
        return VideoKind.WEBM if b"webm" in head else NotAVideo.FEW_CAN_PLAY
    if head[4:8] != b"ftyp":
        return NotAVideo.NO_VIDEO
    boxes = {box.type: box for box in _boxes(file, 0, size)}
    if not {b"moov", b"mdat"} <= set(boxes) or any(box.end > size for box in boxes.values()):
        return NotAVideo.CUT_OFF
    samples = set(_samples(file, boxes[b"moov"]))
    return VideoKind.MP4 if samples & PLAYED else NotAVideo.FEW_CAN_PLAY


def what_it_tells(file: IO[bytes], size: int) -> list[Box]:
    """Return the boxes of an MP4 that say where, when and with what it was taken."""
    found: list[Box] = []
    for box in _boxes(file, 0, size):
        if box.type in _TELLS:
            found.append(box)
        elif box.type == b"moov":
            for inner in _boxes(file, box.begin, box.end):
                if inner.type == b"trak":
                    found += [b for b in _boxes(file, inner.begin, inner.end) if b.type in _TELLS]
                elif inner.type in _TELLS:
                    found.append(inner)
    return found


def _samples(file: IO[bytes], moov: Box) -> Iterator[bytes]:
    """Yield how the pictures, the sound and what else is in each track are written."""
    for track in _boxes(file, moov.begin, moov.end):
        if track.type != b"trak":
            continue
        inside = track
        for wanted in _TO_SAMPLES:
            listed = _boxes(file, inside.begin, inside.end)
            found = next((box for box in listed if box.type == wanted), None)
            if found is None:
                break
            inside = found
        else:
            # The list begins with a version and a count, 4 bytes each.
            entry = next(_boxes(file, inside.begin + 8, inside.end), None)
            if entry is not None:
                yield entry.type


def _boxes(file: IO[bytes], begin: int, end: int) -> Iterator[Box]:
    for _ in range(_MOST_BOXES):
        if begin + 8 > end:
            return
        file.seek(begin)
        head = file.read(16)
        length, content = int.from_bytes(head[:4], "big"), begin + 8
        if length == 1:  # the length stands in the 8 bytes behind the type
            length, content = int.from_bytes(head[8:16], "big"), begin + 16
        elif length == 0:  # to the end of the file
            length = end - begin
        if length < content - begin:
            return
        yield Box(head[4:8], begin + 4, content, begin + length)
        begin += length
