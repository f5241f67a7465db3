"""The private calendar address of an eating plan: made by the patient, ended, opened.

It comes out of the page's own token and the site's secret, and its SHA-256 alone is kept: the page
can show it again, and a database dump opens nothing. It leads to the calendar and to nothing else.
It lives as long as some link to the plan does, so that it follows a date that moves.
"""

import base64
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.utils.crypto import salted_hmac

from education.models import PlanFeed, PlanFeedEnd, PlanLink
from education.personal_link import digest

MOST = 20  # addresses that one link can make


@dataclass(frozen=True)
class OwnFeed:
    """An address that works, with its token as the page's holder may see it."""

    feed: PlanFeed
    token: str


class TooMany(Exception):
    """This link made as many addresses as it may."""


def make_feed(link: PlanLink, page_token: str, *, with_operation: bool, at: datetime) -> PlanFeed:
    """Make an address, or return the one of that kind that works already. Raises TooMany."""
    with transaction.atomic():
        PlanLink.objects.select_for_update().get(pk=link.pk)
        for own in own_feeds(link, page_token):
            if own.feed.with_operation == with_operation:
                return own.feed
        number = link.feeds.count() + 1
        if number > MOST:
            raise TooMany
        return PlanFeed.objects.create(
            link=link,
            number=number,
            digest=digest(_token(page_token, number)),
            with_operation=with_operation,
            recorded_at=at,
        )


def end_feed(link: PlanLink, number: int, *, at: datetime) -> None:
    """End an address that this link made; what is none of it, or ended, is passed over."""
    feed = link.feeds.filter(number=number).first()
    if feed is not None:
        PlanFeedEnd.objects.get_or_create(feed=feed, defaults={"recorded_at": at})


def own_feeds(link: PlanLink, page_token: str) -> list[OwnFeed]:
    """Return the addresses that were made on the page behind this token and still work."""
    found = []
    for feed in link.feeds.filter(end__isnull=True):
        token = _token(page_token, feed.number)
        if digest(token) == feed.digest:
            found.append(OwnFeed(feed, token))
    return found


def open_feed(token: str, *, at: datetime) -> PlanFeed | None:
    """Return the feed of an address, None when it does not work; reads only.

    An address dies with its own link: when that is replaced, or the patient's address on file is
    another one. A cancelled operation does not end it: what it said has to be taken back there.
    """
    feed = (
        PlanFeed.objects.filter(digest=digest(token), end__isnull=True, link__end__isnull=True)
        .select_related("link__operation__patient", "link__operation__procedure")
        .first()
    )
    if feed is None:
        return None
    operation = feed.link.operation
    if feed.link.address.lower() != operation.patient.email.lower():
        return None
    alive = operation.plan_links.filter(end__isnull=True, expires_at__gt=at).exists()
    return feed if alive else None


def _token(page_token: str, number: int) -> str:
    made = salted_hmac("plan-feed", f"{number}|{page_token}", algorithm="sha256").digest()
    return base64.urlsafe_b64encode(made).decode().rstrip("=")
