"""A new link in place of one that does not serve any more: asked for by the patient, or because
the address changed. Either goes to the address on file, and nowhere else.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db import IntegrityError, transaction

from education import mail_rules
from education.addresses import marks_of
from education.invite import RENEWAL, Refusal, invite
from education.models import Assignment, Invitation, Message
from education.personal_link import LinkState, open_link
from education.rules.quiz_way import Way
from patients import programme
from patients.clock import local_date

WEEK = timedelta(days=7)
MOST_IN_A_WEEK = 3  # and one a local day, which the database itself refuses to exceed


def renew(token: str, *, at: datetime) -> bool:
    """Send a new link to whoever holds an expired one, to the address on file.

    False: nothing was sent. Whoever asks is never told which it was.
    """
    opened = open_link(Invitation, token, at=at)
    if opened.link is None or opened.state != LinkState.EXPIRED:
        return False
    if opened.link.way != Way.LINK:
        return False
    assignment = opened.link.assignment
    if Assignment.objects.filter(pk=assignment.pk).cleared().exists():
        return False
    lately = Message.objects.filter(
        purpose=RENEWAL, patient=assignment.operation.patient_id, recorded_at__gt=at - WEEK
    )
    if lately.count() >= MOST_IN_A_WEEK:
        return False
    on = local_date(at, programme.current().zone)
    try:
        with transaction.atomic():
            sent = invite(assignment, at=at, purpose=RENEWAL, for_day=on)
    except IntegrityError:
        return False  # one was sent today
    return not isinstance(sent, Refusal)


def invite_anew(ended: Iterable[Invitation], *, at: datetime) -> int:
    """Send a new link where one went to an earlier address, if the programme invites by itself, or
    if nothing arrived there: what somebody sent then still has to reach the patient.

    Otherwise the morning list says that nothing went to the present address yet. Called inside the
    transaction of the correction; returns how many were written.
    """
    rules = mail_rules.current()
    ended = list(ended)
    if not rules.invites:
        marked = marks_of({one.address for one in ended})
        ended = [one for one in ended if one.address.lower() in marked]
    if not ended:
        return 0
    open_ones = (
        Assignment.objects.still_open()
        .filter(pk__in={one.assignment_id for one in ended})
        .exclude(pk__in=Assignment.objects.cleared().values("pk"))
    )
    not_before = mail_rules.not_quiet(at, rules, programme.current().zone)
    sent = [invite(one, at=at, not_before=not_before) for one in open_ones.order_by("pk")]
    return sum(not isinstance(one, Refusal) for one in sent)
