"""What a merge of two records would do, for the page that asks before it is done."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from clinic.comparison import Line, Side, compare, operation_words, read_sides, twice_booked
from clinic.day_words import day
from clinic.duplicates import in_words
from clinic.words import EVIDENCE
from education.carry import would_carry
from education.identify import asked_about
from education.models import Clearance, Invitation, Submission
from education.personal_link import LinkState, link_state
from education.rules.standing import Evidence
from education.titles import titles
from patients.lookup import likely_same
from patients.merge import MergeRefused, refusal, would_move
from patients.models import Contact, Patient
from patients.speaks_for import spoken_for


@dataclass(frozen=True)
class Merging:
    """Two records, which of them would be kept, and what would follow.

    `differ`: what of the two names and dates of birth differs, in words. `similar`: third records
    that are as alike. `refused`: why they cannot be merged as things stand. `links_die`: open links
    that went to an address that the kept record has not. `twice`: open operations of a procedure of
    which both have one. `records`: what had been merged into the other record before, and
    comes with it. `lacking`: what only the record that would go has on file. `waiting`: quizzes
    that will be asked about again, and may be matched by it.
    """

    kept: Side
    merged: Side
    lines: list[Line]
    differ: list[str]
    similar: list[Patient]
    refused: MergeRefused | None
    operations: list[str]
    contacts: int
    records: list[Patient]
    clearances: list[str]
    links_die: list[Invitation]
    twice: list[str]
    lacking: list[tuple[str, str]]
    waiting: list[Submission]
    seen: str


def read_merging(kept: Patient, merged: Patient, *, at: datetime) -> Merging:
    """Say what would follow if `merged` went into `kept`. Writes nothing."""
    sides = read_sides([kept, merged])
    one, other = sides[kept.pk], sides[merged.pk]
    found = {pk: reasons for pk, _, reasons in likely_same(kept)}
    records, named = spoken_for([merged.pk]), titles()
    thirds = {*found, *(pk for pk, _, _ in likely_same(merged))} - {kept.pk, merged.pk}
    return Merging(
        kept=one,
        merged=other,
        lines=compare(one, other),
        differ=in_words(map(str, found.get(merged.pk, ())))[1],
        similar=list(Patient.objects.on_the_register().filter(pk__in=thirds)),
        refused=refusal(kept, merged),
        operations=[operation_words(operation) for operation in would_move(kept, merged)],
        contacts=Contact.objects.standing().filter(patient__in=records).count(),
        records=list(Patient.objects.filter(pk__in=records).exclude(pk=merged.pk)),
        clearances=[clearance_words(row, named) for row in would_carry(kept, merged)],
        links_die=_links_that_die(kept, merged, at=at),
        twice=[operation_words(operation) for operation in twice_booked(one, other)],
        lacking=_lacking(kept, merged),
        waiting=sorted(asked_about([kept.pk, *records]), key=lambda one: (one.recorded_at, one.pk)),
        seen=_seen(one, other),
    )


def clearance_words(row: Clearance, named: Mapping[int, str]) -> str:
    """Return a clearance in words: module, day, evidence; `named` has the titles by module id."""
    title = named.get(row.module_id, "a module")
    return f"“{title}”, {day(row.cleared_on)}, {EVIDENCE[Evidence(row.evidence)]}"


def _links_that_die(kept: Patient, merged: Patient, *, at: datetime) -> list[Invitation]:
    """A link names the address it went to; where the kept record has another one it is dead."""
    rows = Invitation.objects.filter(assignment__operation__patient=merged, end__isnull=True)
    return [
        link
        for link in rows.exclude(address__iexact=kept.email).select_related(
            "assignment__operation__patient"
        )
        if link_state(link, at=at) == LinkState.GOOD
    ]


def _lacking(kept: Patient, merged: Patient) -> list[tuple[str, str]]:
    """Return what only the record that would go has: it is not taken over."""
    facts = (("email address", kept.email, merged.email), ("phone", kept.phone, merged.phone))
    return [(label, theirs) for label, ours, theirs in facts if theirs and not ours]


def _seen(one: Side, other: Side) -> str:
    """Return a short text that changes when what the page shows does, or which one is kept."""
    facts = [
        (
            side.patient.pk,
            side.patient.recorded_at,
            [name.pk for name in side.other_names],
            [(operation.pk, operation.version) for operation in side.operations],
            side.clearances,
            side.contacts,
        )
        for side in (one, other)
    ]
    return hashlib.sha256(repr(facts).encode()).hexdigest()[:32]
