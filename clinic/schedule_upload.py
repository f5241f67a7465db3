"""Keep a schedule file from its preview to its import, and import it once."""

import hashlib
from datetime import datetime, timedelta

from django.db import transaction

from clinic.models import ScheduleImport, ScheduleUpload, StaffUser
from patients.import_messages import apply as take_in
from patients.import_messages import is_message_file
from patients.import_schedule import Preview, apply, preview
from patients.rules.schedule_reasons import TO_BE_CHOSEN, NotASchedule, Reason

KEPT_UNIMPORTED = timedelta(days=1)


class MessagesChanged(Exception):
    """Something else would come of the messages than was shown."""


class ImportedAlready(Exception):
    """Somebody imported this file before."""


def keep(data: bytes, *, name: str, at: datetime, by: StaffUser) -> ScheduleUpload:
    """Keep a file for its import, and forget those that nobody imported within a day.

    A file whose columns are not known yet is kept too: they are asked for next. Raises NotASchedule
    when the file cannot be read.
    """
    seen = _seen(data, at=at)
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


def look_again(upload: ScheduleUpload, *, at: datetime) -> None:
    """The file is read in another way from here on: mark the record as it is now."""
    upload.seen = _seen(bytes(upload.content), at=at)
    upload.save(update_fields=["seen"])


def _seen(data: bytes, *, at: datetime) -> list[str]:
    if is_message_file(data):
        return []
    try:
        return preview(data, day_first=None, at=at).seen
    except NotASchedule as refused:
        if refused.refusal not in TO_BE_CHOSEN:
            raise
        return []


def preview_of(upload: ScheduleUpload, *, day_first: bool | None, at: datetime) -> Preview:
    """Say what a kept file would change as the record stands now.

    An imported one is read as it was then, whatever was said of its columns since.
    """
    imported = ScheduleImport.objects.filter(upload=upload).first()
    read_as_at = imported.recorded_at if imported else None
    return preview(bytes(upload.content), day_first=day_first, at=at, read_as_at=read_as_at)


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


def import_messages(
    upload: ScheduleUpload, *, shown: str, at: datetime, by: StaffUser
) -> ScheduleImport:
    """Take in a kept file of messages as the preview with the fingerprint `shown` said.

    Raises ImportedAlready, and MessagesChanged when something else would come of it now.
    """
    with transaction.atomic():
        locked = ScheduleUpload.objects.select_for_update().get(pk=upload.pk)
        if ScheduleImport.objects.filter(upload=locked).exists():
            raise ImportedAlready
        done = take_in(bytes(locked.content), at=at, name=locked.name)
        if done.fingerprint != shown:
            raise MessagesChanged
        return ScheduleImport.objects.create(
            upload=locked,
            day_first=None,
            counts={str(verdict): count for verdict, count in done.counts.items()},
            recorded_at=at,
            by=by,
        )


def changed_since(upload: ScheduleUpload, found: Preview) -> frozenset[int]:
    """Return the lines whose patient or operation changed on record since the file came.

    A row that was rejected then, or only fits the other order of day and month, tells nothing.
    Nothing does when the file's columns were not known when it came.
    """
    if len(upload.seen) != len(found.seen):
        return frozenset()
    lines = set()
    for before, now, proposal in zip(upload.seen, found.seen, found.proposals, strict=True):
        other_order = any(p.reason == Reason.AGAINST_DATE_ORDER for p in proposal.problems)
        if before and before != now and not other_order:
            lines.add(proposal.line)
    return frozenset(lines)
