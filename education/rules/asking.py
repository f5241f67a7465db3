"""May a patient's question be kept as it was typed, and where does one stand that was asked?

A length is measured before anything else is looked for in a text.
"""

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

MAX_QUESTION = 1_000  # characters
MAX_ANSWER = 3_000
MOST_A_DAY = 5  # questions of one patient on one local day
# They turn the letters behind them around, and could make a sentence say its opposite.
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


class About(StrEnum):
    """From where the patient asked."""

    MODULE = "module"
    SECTION = "section"
    QUESTION = "question"
    RESULT = "result"


class AskFault(StrEnum):
    """Why a question is not kept."""

    EMPTY = "empty"
    TOO_LONG = "too_long"
    TOO_MANY = "too_many"


class Means(StrEnum):
    """How an answer was given."""

    EMAIL = "email"  # behind a link, and an email says that it waits
    PHONE = "phone"
    NOT_NEEDED = "not_needed"  # there is nothing to answer: a thank-you, the same once more


class Arrived(StrEnum):
    """What became of the email that says that an answer waits."""

    ON_ITS_WAY = "on_its_way"
    WENT_OUT = "went_out"
    UNSURE = "unsure"
    NO = "no"  # it failed, or was taken back before it went out


class Stand(StrEnum):
    """Where a question stands."""

    WAITS = "waits"
    NOT_ARRIVED = "not_arrived"
    ANSWERED = "answered"


@dataclass(frozen=True)
class Given:
    """One answer; `arrived` is set for one by email."""

    means: Means
    arrived: Arrived | None = None


def read_text(typed: str, *, most: int = MAX_QUESTION) -> str | AskFault:
    """Return a text that may be kept, of at most `most` characters, or why it may not.

    Left out are controls (NUL among them) and marks that turn the direction of writing; all else
    stays as it was typed: whatever looks like markup is shown as its letters.
    """
    if len(typed) > 2 * most:  # a browser sends each line's end as two characters
        return AskFault.TOO_LONG
    lines = typed.replace("\r\n", "\n").replace("\r", "\n")
    if len(lines) > most:
        return AskFault.TOO_LONG
    kept = "".join(c for c in lines if c in "\n\t" or _is_text(c)).strip()
    return kept or AskFault.EMPTY


def _is_text(char: str) -> bool:
    return char not in _TURNING and unicodedata.category(char) not in {"Cc", "Cs"}


def may_ask(asked_today: int) -> AskFault | None:
    """Say whether a patient who asked so often on this local day may ask once more."""
    return AskFault.TOO_MANY if asked_today >= MOST_A_DAY else None


def stand(answers: Sequence[Given]) -> Stand:
    """Return where a question with these answers stands, the latest answer last.

    A correction that did not arrive leaves the patient with the answer that was wrong, so it is
    the latest one that counts.
    """
    if not answers:
        return Stand.WAITS
    return Stand.NOT_ARRIVED if answers[-1].arrived == Arrived.NO else Stand.ANSWERED
