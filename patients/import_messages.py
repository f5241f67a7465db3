"""Import a file of schedule messages: what it would do, then the same in one transaction.

A preview takes the messages in and then takes everything back: a later message of the file may
depend on an earlier one, so nothing less would say what really happens.
"""

import hashlib
import re
from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from django.db import transaction

from patients.intake import Arrived, CameOf, Taken, take_all
from patients.models import Step
from patients.rules.message_formats import MessageFormat
from patients.rules.message_readers import READERS, format_of
from patients.rules.message_reading import MessageRefusal, NotTaken
from patients.rules.schedule_changes import Verdict
from patients.rules.schedule_file import MAX_BYTES

# HL7 v2 with its field separator, or FHIR: a heading of a CSV file may begin with these letters.
MESSAGES = re.compile(rb"(?:\xef\xbb\xbf)?\s*(?:(?:MSH|FHS|BHS)[|^~#$%&!*]|\{|<\?xml|<Bundle\b)")


@dataclass(frozen=True)
class Line:
    """One message of a file: the line on which it begins, and what came of it."""

    number: int
    came: CameOf

    @property
    def verdict(self) -> Verdict:
        """The message as a row of a schedule."""
        return self.came.verdict if isinstance(self.came, Taken) else Verdict.REJECTED

    @property
    def waits(self) -> bool:
        """Whether it waits for a person since this file."""
        return (
            isinstance(self.came, Taken)
            and not self.came.repeated
            and self.came.step.step == Step.WAITS
        )


@dataclass(frozen=True)
class Imported:
    """What came, or would come, of the messages of a file."""

    format: MessageFormat
    lines: tuple[Line, ...]

    @cached_property
    def counts(self) -> dict[Verdict, int]:
        """How many messages have each verdict; they add up to the messages in the file."""
        found = Counter(line.verdict for line in self.lines)
        return {verdict: found[verdict] for verdict in Verdict}

    @cached_property
    def fingerprint(self) -> str:
        """One text that changes when anything of what would come of the messages does."""
        facts = [
            (one.number, one.verdict, one.came.judged, one.came.repeated)
            if isinstance(one.came, Taken)
            else (one.number, one.verdict)
            for one in self.lines
        ]
        return hashlib.sha256(repr(facts).encode("utf-8", "backslashreplace")).hexdigest()

    @property
    def waiting(self) -> int:
        """How many of the rejected ones are kept on the intake page."""
        return sum(line.waits for line in self.lines)

    @property
    def not_ours(self) -> int:
        """How many of the rejected ones somebody said not to be of a procedure of ours."""
        came = [line.came for line in self.lines if isinstance(line.came, Taken)]
        return sum(one.step.step == Step.SET_ASIDE and not one.repeated for one in came)


def is_message_file(data: bytes) -> bool:
    """Say whether a file holds messages, by how it begins; a CSV file does not begin so."""
    return MESSAGES.match(data[:64]) is not None


def preview(data: bytes, *, at: datetime, name: str = "") -> Imported:
    """Say what a file of messages would do. Writes nothing. Raises NotTaken for another file."""
    with transaction.atomic():
        found = apply(data, at=at, name=name)
        transaction.set_rollback(True)
    return found


def apply(data: bytes, *, at: datetime, name: str = "") -> Imported:
    """Take in the messages of a file, all of them or none. Raises NotTaken for another file."""
    if len(data) > MAX_BYTES:
        raise NotTaken(MessageRefusal.TOO_LONG)
    format = format_of(data)
    parts = READERS[format].split(data)
    arrived = [Arrived(part.content, f"file {name}", part.line) for part in parts]
    came = take_all(arrived, format=format, at=at)
    return Imported(format, tuple(Line(p.line, c) for p, c in zip(parts, came, strict=True)))
