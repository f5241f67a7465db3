"""Keep a schedule file from its preview to its import, and import it once."""

import hashlib
from datetime import datetime, timedelta

from django.db import transaction

from clinic.models import ScheduleImport, ScheduleUpload, StaffUser
from patients.import_schedule import Preview, apply, preview
from patients.rules.schedule_reasons import Reason

KEPT_UNIMPORTED = timedelta(days=1)


class ImportedAlready(Exception):
    """Somebody imported this file before."""


def keep(data: bytes, *, name: str, at: datetime, by: StaffUser) -> ScheduleUpload:
    """Keep a file for its import, and forget those that nobody imported within a day.

    Raises NotASchedule when the file cannot be read.
    """
    seen = preview(data, day_first=None, at=at).seen
    with transaction.atomic():
        stale = ScheduleUpload.objects.filter(
            imported__isnull=True, recorded_at__lt=at - KEPT_UNIMPORTED
        )
        stale.delete()
        return ScheduleUpload.objects.create(
            name=name[-200:],
            content=data,
            sha256=hashlib.sha256(data).hexdigest(),
            seen=seen,
            recorded_at=at,
            by=by,
        )


def preview_of(upload: ScheduleUpload, *, day_first: bool | None, at: datetime) -> Preview:
    """Say what a kept file would change as the record stands now."""
    return preview(bytes(upload.content), day_first=day_first, at=at)


def import_upload(
    upload: ScheduleUpload, *, day_first: bool | None, shown: str, at: datetime, by: StaffUser
) -> ScheduleImport:
    """Import a kept file as the preview with the fingerprint `shown` said.

    Raises ImportedAlready, and ChangedSincePreview when the record is another one now.
    """
    with transaction.atomic():
        locked = ScheduleUpload.objects.select_for_update().get(pk=upload.pk)
        if ScheduleImport.objects.filter(upload=locked).exists():
            raise ImportedAlready
        done = apply(
            bytes(locked.content),
            day_first=day_first,
            at=at,
            name=locked.name,
            by_id=by.pk,
            shown=shown,
        )
        return ScheduleImport.objects.create(
            upload=locked,
            day_first=day_first,
            counts={str(verdict): count for verdict, count in done.counts.items()},
            recorded_at=at,
            by=by,
        )


def changed_since(upload: ScheduleUpload, found: Preview) -> frozenset[int]:
    """Return the lines whose patient or operation changed on record since the file came.

    A row that was rejected then, or only fits the other order of day and month, tells nothing.
    """
    lines = set()
    for before, now, proposal in zip(upload.seen, found.seen, found.proposals, strict=True):
        other_order = any(p.reason == Reason.AGAINST_DATE_ORDER for p in proposal.problems)
        if before and before != now and not other_order:
            lines.add(proposal.line)
    return frozenset(lines)
