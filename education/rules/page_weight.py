"""Does a lesson with its pictures still come quickly on a slow phone (promise W8)?

A first view may weigh 60 kB in 8 requests. Pictures further down are fetched when they are reached,
so what is too much here is a warning to the author, not a wall.
"""

from collections.abc import Sequence
from dataclasses import dataclass

FIRST_VIEW = 60_000  # bytes
MOST_REQUESTS = 8
LARGEST_PICTURE = 24_000  # bytes of the largest size that is kept of one
SLOW = 400_000 / 8  # bytes a second
_OWN_REQUESTS = 3  # the page and its two stylesheets


@dataclass(frozen=True)
class TooHeavy:
    """What is over: `weight` in bytes, page and pictures; `seconds` on a slow phone."""

    weight: int
    pictures: int

    @property
    def seconds(self) -> int:
        return round(self.weight / SLOW)


def too_heavy(page: int, pictures: Sequence[int]) -> TooHeavy | None:
    """Return what a lesson weighs if it is over a limit; bytes of the page and of each picture."""
    weight = page + sum(pictures)
    if pictures and (weight > FIRST_VIEW or len(pictures) + _OWN_REQUESTS > MOST_REQUESTS):
        return TooHeavy(weight, len(pictures))
    return None
