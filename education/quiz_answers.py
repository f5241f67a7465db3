"""Read how a quiz was answered, as counts: which answer, by how many, with how many right in all.

Counted are the first tries of distinct patients, unless every try is asked for. A second try comes
after the teaching was read again and the right answers were shown, by somebody who has been counted
already: it is neither a fresh witness for the question nor an independent one, and it comes from
those who failed, so it would make every question look easier and the quiz less telling. A try is a
first one if the same patient (merged records are one) handed in no earlier quiz of the module, in
whatever edition or language. Whose a quiz is decides the identity decision in force; one that is
not decided, or is nobody's of ours, may be a second try of anybody and is left out.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db.models import Count, F, Q, QuerySet, Window
from django.db.models.functions import Coalesce, RowNumber

from education.models import MATCHED, Edition, IdentityDecision, Submission, SubmissionAnswer
from education.rules.item_statistics import Tally
from education.rules.quiz_way import Way

PAIR, THEN = "=", ">"
"""What stands in a choice's name between the ids of a pair, and of things put in order."""


@dataclass(frozen=True)
class Asked:
    """Which quizzes: of an edition; in a language, or all; handed in from `since`, before `until`.

    `every_try` counts second and later tries too. `ways`: only what came by one of them, if any is
    named; which try is a first one is asked of all ways.
    """

    edition: Edition
    language: str = ""
    since: datetime | None = None
    until: datetime | None = None
    every_try: bool = False
    ways: frozenset[Way] = frozenset()


@dataclass(frozen=True)
class Counted:
    """`tallies` by question id; `totals`: how many quizzes had so many right.

    Left out are `retakes`, and quizzes that are `undecided` (or nobody's of ours).
    """

    tallies: Mapping[int, list[Tally]]
    totals: Counter[int]
    retakes: int
    undecided: int

    @property
    def quizzes(self) -> int:
        """How many quizzes are counted."""
        return self.totals.total()


def counted(asked: Asked) -> Counted:
    """Count the answers in the database: the number of rows read does not grow with the quizzes."""
    handed_in = _handed_in(asked)
    decided = handed_in.filter(pk__in=_decided(asked.edition).values("submission"))
    taken = decided
    if not asked.every_try:
        taken = handed_in.filter(pk__in=_first_tries(asked.edition).values("submission"))
    totals = Counter(dict(taken.order_by().values_list("right").annotate(n=Count("pk"))))
    all_decided = decided.count()
    return Counted(
        tallies=_tallies(taken),
        totals=totals,
        retakes=all_decided - totals.total(),
        undecided=handed_in.count() - all_decided,
    )


def _handed_in(asked: Asked) -> QuerySet[Submission]:
    wanted = Q(edition=asked.edition)
    if asked.language:
        wanted &= Q(language=asked.language)
    if asked.ways:
        wanted &= Q(attempt__invitation__way__in=asked.ways)
    if asked.since:
        wanted &= Q(recorded_at__gte=asked.since)
    if asked.until:
        wanted &= Q(recorded_at__lt=asked.until)
    return Submission.objects.filter(wanted)


def _decided(edition: Edition) -> QuerySet[IdentityDecision]:
    """The decisions in force that say whose a quiz of the module is, in any edition."""
    return IdentityDecision.objects.in_force(
        verdict__in=MATCHED, submission__edition__module=edition.module_id
    ).order_by()


def _first_tries(edition: Edition) -> QuerySet[IdentityDecision]:
    place = Window(
        RowNumber(),
        partition_by=Coalesce("patient__merged_into", "patient"),
        order_by=[F("submission__recorded_at").asc(), F("submission").asc()],
    )
    return _decided(edition).annotate(place=place).filter(place=1)


def _tallies(taken: QuerySet[Submission]) -> dict[int, list[Tally]]:
    rows = (
        SubmissionAnswer.objects.filter(submission__in=taken.order_by().values("pk"))
        .order_by()
        .values_list("question", "right", "given", "submission__right")
        .annotate(n=Count("pk"))
    )
    found: dict[int, list[Tally]] = {}
    for question, right, given, total, count in rows:
        tally = Tally(total, right, choices_of(given), count)
        found.setdefault(question, []).append(tally)
    return found


def choices_of(given: Mapping[str, Any] | None) -> frozenset[str]:
    """Return what was given, by names: an option's id, a number, a pair of ids, ids in order.

    Empty for no answer. `given` is in the form that is stored.
    """
    if not given:
        return frozenset()
    if "number" in given:
        return frozenset({f"{Decimal(given['number']).normalize():f}"})
    if given.get("order"):
        return frozenset({THEN.join(str(pk) for pk in given["order"])})
    if given.get("pairs"):
        return frozenset(f"{asked}{PAIR}{answered}" for asked, answered in given["pairs"])
    return frozenset(str(pk) for pk in given.get("options", ()))
