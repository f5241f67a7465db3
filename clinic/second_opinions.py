"""What waits for a second clinician, and who may not be that one: whoever accepted it first."""

from collections.abc import Iterable

from django.db.models import F

from clinic.models import StaffUser
from education.models import Assignment, SignOff, Waiver
from education.rules.standing import WAITS_FOR_SECOND
from education.standings import Told


def waits(told: Told) -> bool:
    """Say whether a second clinician has to say something about an assignment."""
    return bool(WAITS_FOR_SECOND & set(told.answer.reasons))


def waiting(assignments: Iterable[Assignment]) -> dict[int, SignOff | Waiver]:
    """Return what waits, by assignment: a waiver first, which makes a sign-off needless."""
    ids = [one.pk for one in assignments]
    sign_offs = SignOff.objects.waiting().filter(
        assignment__in=ids, clearance__patient=F("assignment__operation__patient")
    )
    found: dict[int, SignOff | Waiver] = {}
    for sign_off in sign_offs.select_related("by", "clearance").order_by("pk"):
        found.setdefault(sign_off.assignment_id, sign_off)
    waivers: dict[int, SignOff | Waiver] = {}
    for waiver in Waiver.objects.waiting().filter(assignment__in=ids).select_related("by"):
        waivers.setdefault(waiver.assignment_id, waiver)
    return found | waivers


def first_clinicians(told: Iterable[Told]) -> dict[int, StaffUser]:
    """Return who accepted what waits, by assignment; no query where nothing waits."""
    rows = [one.assignment for one in told if waits(one)]
    return {pk: one.by for pk, one in waiting(rows).items()} if rows else {}
