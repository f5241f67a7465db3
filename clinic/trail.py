"""The trail: who saw or changed what, when and from where, in a chain that shows tampering."""

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from clinic.models import TrailEntry
from patients.conflicts import take_turns

START = "0" * 64
LOCK = 7_204_311  # any number of our own; writers of the trail take turns on it


def record(
    *,
    act: str,
    at: datetime,
    by_id: int | None,
    patient_id: int | None = None,
    detail: dict[str, Any] | None = None,
    address: str | None = None,
) -> TrailEntry:
    """Append one entry, chained to the one before it."""
    with transaction.atomic():
        take_turns(LOCK)
        latest = TrailEntry.objects.order_by("-id").first()
        entry = TrailEntry(
            act=act,
            recorded_at=at,
            by_id=by_id,
            patient_id=patient_id,
            detail=detail or {},
            address=address,
            before=latest.hash if latest else START,
        )
        entry.hash = chain_hash(entry)
        entry.save()
    return entry


def chain_hash(entry: TrailEntry) -> str:
    """Return the SHA-256, in hexadecimal, of what an entry says and of the entry before it."""
    facts = json.dumps(entry.facts(), sort_keys=True, ensure_ascii=True)
    return hashlib.sha256(facts.encode()).hexdigest()


def first_broken() -> int | None:
    """Return the id of the first entry that does not fit the chain, or None when all fit."""
    before = START
    for entry in TrailEntry.objects.order_by("id").iterator():
        if entry.before != before or entry.hash != chain_hash(entry):
            return entry.pk
        before = entry.hash
    return None


@dataclass(frozen=True)
class Seal:
    """Where the chain ends: kept outside the database, it shows that nothing was cut off.

    The chain alone cannot show that: the entries that are left still fit each other.
    """

    count: int
    hash: str

    def __str__(self) -> str:
        return f"{self.count}:{self.hash}"


def seal() -> Seal:
    """Return how many entries there are and the hash of the last one."""
    latest = TrailEntry.objects.order_by("-id").first()
    return Seal(TrailEntry.objects.count(), latest.hash if latest else START)


def first_broken_seal(seals: Iterable[Seal]) -> Seal | None:
    """Return the first seal that the trail does not bear out any more, None when it bears all.

    A seal of n entries holds as long as the n-th entry has the hash that it names.
    """
    for one in seals:
        entries = TrailEntry.objects.order_by("id").values_list("hash", flat=True)
        there = entries[one.count - 1 : one.count].first() if one.count else START
        if there != one.hash:
            return one
    return None
