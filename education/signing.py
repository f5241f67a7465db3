"""A clinician signs what was published, and which modules nobody has signed.

A signature belongs to one edition: whoever changes the words publishes another edition, and that
one has to be read again. Nothing waits for it; staff are told that it is missing.
"""

from collections.abc import Iterable
from datetime import datetime

from education.models import Edition, EditionSign


def sign(edition: Edition, *, at: datetime, by_id: int) -> EditionSign:
    """A clinician signs an edition. Signed before, it stays as it was signed first."""
    signed, _ = EditionSign.objects.get_or_create(
        edition=edition, defaults={"recorded_at": at, "by_id": by_id}
    )
    return signed


def unsigned(module_ids: Iterable[int] | None = None) -> frozenset[int]:
    """Return the ids of the modules whose latest edition nobody signed, of all or of those named.

    A module without an edition shows nothing that could be signed.
    """
    rows = Edition.objects.order_by("number")
    if module_ids is not None:
        rows = rows.filter(module__in=set(module_ids))
    latest = dict(rows.values_list("module", "sign"))
    return frozenset(module for module, signature in latest.items() if signature is None)
