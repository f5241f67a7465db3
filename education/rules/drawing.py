"""Which version of each question does an attempt ask, and in which order stand its options?

Everything follows from the attempt: asked again it is the same, on another device and on another
day too. Nothing comes from a clock or from chance.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from hashlib import sha256
from typing import TypeVar

T = TypeVar("T")


@dataclass(frozen=True)
class Draw:
    """What decides the draw of one attempt.

    `seed` is the same for all attempts that one patient makes at one module for one operation;
    `turn` counts them from 0, so that a retake draws another version where there is one.
    """

    seed: str
    turn: int


def version_drawn(draw: Draw, question: str, versions: int) -> int:
    """Return the place, from 0, of the version that is asked of the question with this key.

    Attempts one behind the other ask different versions until all were asked; which one comes
    first differs between patients and questions.
    """
    return (_mixed(draw.seed, question) + draw.turn) % versions


def shuffled(
    things: Iterable[T], *, draw: Draw, question: str, name: Callable[[T], str]
) -> list[T]:
    """Return things in an order that depends on the attempt, the question and their names only."""
    return sorted(things, key=lambda one: _mixed(draw.seed, str(draw.turn), question, name(one)))


def shuffled_apart(
    things: Iterable[T], *, draw: Draw, question: str, name: Callable[[T], str]
) -> list[T]:
    """Return things shuffled, but never as they came: the order that they came in is the answer."""
    came = list(things)
    mixed = shuffled(came, draw=draw, question=question, name=name)
    return mixed[1:] + mixed[:1] if mixed == came else mixed


def _mixed(*parts: str) -> int:
    """Return a number that looks like chance and is the same everywhere."""
    return int.from_bytes(sha256("\0".join(parts).encode()).digest()[:8])
