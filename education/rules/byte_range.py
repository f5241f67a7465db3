"""Which part of a file does a request ask for (RFC 9110, section 14)?"""

import re
from dataclasses import dataclass

_ONE = re.compile(r"bytes=(\d{0,18})-(\d{0,18})")


@dataclass(frozen=True)
class Part:
    """The bytes from `first` to `last`, both inclusive, counted from 0."""

    first: int
    last: int

    @property
    def length(self) -> int:
        return self.last - self.first + 1


class NoSuchPart(ValueError):
    """The file has no such bytes: answered by 416."""


def asked_part(header: str, size: int, *, most: int) -> Part | None:
    """Return the part of a file of `size` bytes that a Range header asks for.

    None: the whole file, for there is no header, or one that a server may pass over (several
    ranges, another unit, nonsense). A part is never longer than `most` bytes: a server may answer
    with less than was asked for, and whoever plays a video asks for the next part by itself.

    Raises NoSuchPart when it begins behind the end.
    """
    found = _ONE.fullmatch(header.strip().replace(" ", ""))
    if found is None or not (found[1] or found[2]):
        return None
    if not found[1]:
        length = int(found[2])
        if length == 0 or size == 0:
            raise NoSuchPart
        first, last = max(0, size - length), size - 1
    else:
        first, last = int(found[1]), int(found[2] or size - 1)
        if found[2] and last < first:
            return None
        if first >= size:
            raise NoSuchPart
    return Part(first, min(last, size - 1, first + most - 1))
