"""The demo's mail tray: it stands in for the mailboxes of everybody. Nowhere else does it exist."""

import re
from dataclasses import dataclass
from datetime import datetime
from email import policy
from email.message import EmailMessage
from email.parser import BytesParser
from pathlib import Path
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.paginator import Paginator
from django.db.models import Exists, OuterRef
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from clinic.models import Role
from education.models import Message, Submission
from education.personal_link import LinkState, link_state
from patients import programme
from patients.clock import now
from patients.open_to import ANYONE, open_to

PAGE = 60
NAME = re.compile(r"[A-Za-z0-9-]+")


@dataclass(frozen=True)
class TrayMail:
    """One email as it went out. `link`: open, taken, ended, or nothing where it has none."""

    name: str
    to: str
    subject: str
    at: datetime | None
    link: str
    text: str


@open_to(ANYONE, *Role)
@require_safe
def mail_tray(request: HttpRequest) -> HttpResponse:
    """The emails that went out, the newest first."""
    # The names begin with the instant of sending, so they sort by it.
    files = sorted(_folder().glob("*.eml"), reverse=True)
    page = Paginator(files, PAGE).get_page(request.GET.get("page"))
    mails = _read(list(page.object_list))
    return render(request, "clinic/mail_tray.html", {"mails": mails, "page": page, "zone": _zone()})


@open_to(ANYONE, *Role)
@require_safe
def mail_tray_message(request: HttpRequest, name: str) -> HttpResponse:
    """One email, with its link ready to be followed."""
    path = _folder() / f"{name}.eml"
    if not NAME.fullmatch(name) or not path.is_file():
        raise Http404
    return render(
        request, "clinic/mail_tray_message.html", {"mail": _read([path])[0], "zone": _zone()}
    )


def _folder() -> Path:
    if not settings.MAIL_TRAY or settings.MAIL_FOLDER is None:
        raise Http404
    return Path(settings.MAIL_FOLDER)


def _zone() -> ZoneInfo:
    try:
        return programme.current().zone
    except programme.NotFounded:
        return ZoneInfo("UTC")


def _read(paths: list[Path]) -> list[TrayMail]:
    """Read the files, and what became of their links: two queries, however many there are."""
    parser = BytesParser(policy=policy.default)
    mails = [(path.stem, parser.parsebytes(path.read_bytes())) for path in paths]
    passed = Submission.objects.filter(attempt__invitation=OuterRef("invitation"), passed=True)
    rows = {
        row.message_id: row
        for row in Message.objects.filter(message_id__in=[mail["Message-ID"] for _, mail in mails])
        .select_related("invitation__end", "invitation__assignment__operation__patient")
        .annotate(taken=Exists(passed))
    }
    at = now()
    return [_tray_mail(name, mail, rows.get(str(mail["Message-ID"])), at) for name, mail in mails]


def _tray_mail(name: str, mail: EmailMessage, row: Message | None, at: datetime) -> TrayMail:
    body = mail.get_body(("plain",))
    return TrayMail(
        name=name,
        to=str(mail["To"]),
        subject=str(mail["Subject"]),
        at=row.sent_at if row else mail["Date"].datetime,
        link=_link(row, at),
        text=body.get_content() if isinstance(body, EmailMessage) else "",
    )


def _link(row: Message | None, at: datetime) -> str:
    if row is None or row.invitation is None:
        return ""
    if link_state(row.invitation, at=at) != LinkState.GOOD:
        return "ended"
    return "taken" if getattr(row, "taken", False) else "open"
