"""The life of a personal link, whatever it leads to: its token, whether it still works, its end.

A link leads to a module's quiz (`Invitation`), an eating plan (`PlanLink`) or the answer to a
question (`AnswerLink`). Each says whose it is (`patient`), whether what it leads to is over
(`over`) and which emails carry it (`emails`), and has `tokens` and an `end`.
"""

import hashlib
import secrets
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from functools import partial
from typing import Any, Generic, TypeVar

from django.db import transaction
from django.db.models import BigIntegerField, CharField, DateTimeField, F, QuerySet
from django.db.models.functions import Lower

from education.models import (
    AnswerLink,
    EndedBecause,
    Invitation,
    InvitationToken,
    Message,
    MessageState,
    PlanLink,
)
from patients.prepared import Given, GivenIds, Prepared, Written, new_row

L = TypeVar("L", Invitation, PlanLink, AnswerLink)

# The way from each kind of link to the patient whose it is.
WHOSE: dict[type, str] = {
    Invitation: "assignment__operation__patient",
    PlanLink: "operation__patient",
    AnswerLink: "answer__question__invitation__assignment__operation__patient",
}
_READ_ALONG = {Invitation: "assignment__module", PlanLink: "operation__procedure"}


class LinkState(StrEnum):
    UNKNOWN = "unknown"
    EXPIRED = "expired"
    ENDED = "ended"
    GOOD = "good"


@dataclass(frozen=True)
class Opened(Generic[L]):
    """What a token opens; `link` is set unless the token is unknown."""

    state: LinkState
    link: L | None


def issue_token(link: Invitation | PlanLink | AnswerLink, *, at: datetime) -> str:
    """Make the token of one email: 256 random bits, of which only the hash is kept."""
    token = secrets.token_urlsafe(32)
    _NEW_TOKEN[type(link)](link=link.pk, digest=digest(token), at=at)
    return token


def digest(token: str) -> str:
    """Return the SHA-256 of a token, in hexadecimal."""
    return hashlib.sha256(token.encode()).hexdigest()


def open_link(kind: type[L], token: str, *, at: datetime) -> Opened[L]:
    """Look up the token of a kind of link; reads only."""
    link: L | None = _BEHIND[kind].first(digest=digest(token))
    return Opened(LinkState.UNKNOWN if link is None else link_state(link, at=at), link)


def _behind_token(kind: type[L]) -> QuerySet[L]:
    given = Given("digest", InvitationToken._meta.get_field("digest"))
    along = [name for name in (WHOSE[kind], _READ_ALONG.get(kind), "end") if name]
    return kind.objects.filter(tokens__digest=given).select_related(*along)


def _new_token(kind: type[Invitation | PlanLink | AnswerLink]) -> Written:
    tokens: Any = kind._meta.get_field("tokens")
    whose = {tokens.field.name: Given("link", BigIntegerField())}
    return new_row(
        tokens.related_model,
        **whose,
        digest=Given("digest", CharField()),
        recorded_at=Given("at", DateTimeField()),
    )


_NEW_TOKEN = {kind: _new_token(kind) for kind in WHOSE}
_BEHIND: dict[type, Prepared[Any]] = {
    kind: Prepared(partial(_behind_token, kind)) for kind in WHOSE
}


def link_state(link: Invitation | PlanLink | AnswerLink, *, at: datetime) -> LinkState:
    """Say whether a link, or what was given in a link's place, still works.

    One that went to another address than the patient has now does not. What was given by another
    way went to none.
    """
    elsewhere = link.address and link.address.lower() != link.patient.email.lower()
    if hasattr(link, "end") or elsewhere or link.over:
        return LinkState.ENDED
    return LinkState.EXPIRED if at >= link.expires_at else LinkState.GOOD


def end(
    link: Invitation | PlanLink | AnswerLink,
    because: EndedBecause,
    *,
    at: datetime,
    by_id: int | None = None,
) -> bool:
    """End a link, and withdraw its emails that have not gone out. False if it had ended."""
    ended: Any = type(link)._meta.get_field("end")
    said = {"because": because, "recorded_at": at} | ({"by_id": by_id} if by_id else {})
    with transaction.atomic():
        _, ended_now = ended.related_model.objects.get_or_create(
            **{ended.field.name: link}, defaults=said
        )
        Message.objects.filter(link.emails, state=MessageState.WAITING).update(
            state=MessageState.WITHDRAWN
        )
    return bool(ended_now)


def gone_elsewhere(kind: type[L], patient_ids: Collection[int]) -> list[L]:
    """Return the patients' links that have not ended and went to another address than theirs."""
    return _ELSEWHERE[kind](patients=patient_ids)


def _gone_elsewhere(kind: type[L]) -> QuerySet[L]:
    whose = {f"{WHOSE[kind]}__among": GivenIds("patients")}
    sent = kind.objects.filter(**whose, end__isnull=True).exclude(address="")
    return sent.alias(went_to=Lower("address")).exclude(went_to=Lower(F(f"{WHOSE[kind]}__email")))


_ELSEWHERE: dict[type, Prepared[Any]] = {
    kind: Prepared(partial(_gone_elsewhere, kind)) for kind in WHOSE
}
