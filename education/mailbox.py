"""Read the programme's mailbox over IMAP (RFC 3501): each mail is taken once, then moved aside.

First a mail is on record, then it is moved; killed between the two, it is known again and moved.
Two readers at once take each mail once: the record's key is unique.
"""

import imaplib
import logging
import ssl
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from django.conf import settings

from education.models import MailboxLook
from education.rules.incoming_mail import MOST_BYTES
from education.take_mail import take_mail

log = logging.getLogger(__name__)

TIMEOUT = 10.0  # seconds, for each answer of the server
MOST_AT_ONCE = 200
READ_FOR = 60.0  # seconds: the next look goes on
# What may go wrong with the server or on the way to it; nothing is lost by it.
UNREACHABLE = (imaplib.IMAP4.error, OSError)


@dataclass
class Taken:
    """How many mails were taken, and how many had been taken before."""

    new: int = 0
    known: int = 0


class MailboxSaysNo(imaplib.IMAP4.error):
    """The mail server refused a command; its words may name an account, so they are not kept."""


def look(*, at: datetime) -> Taken | None:
    """Read the mailbox that is set, and note whether that worked. None: it cannot be read now."""
    name = f"{settings.IMAP_USER}@{settings.IMAP_HOST}/{settings.IMAP_FOLDER}"[:200]
    row, _ = MailboxLook.objects.get_or_create(name=name, defaults={"looked_at": at})
    row.looked_at = at
    try:
        taken = read_mailbox(at=at)
    except UNREACHABLE as broken:
        row.problem = type(broken).__name__
        log.warning("The mailbox cannot be read: %s", row.problem)
        row.save()
        return None
    row.read_at, row.problem = at, ""
    row.save()
    return taken


def read_mailbox(*, at: datetime) -> Taken:
    """Take what lies in the folder, and move it aside. Raises one of UNREACHABLE."""
    taken, begun = Taken(), time.monotonic()
    with _opened() as server:
        validity = _validity(server)
        for uid in _uids(server)[:MOST_AT_ONCE]:
            passed = time.monotonic() - begun
            if passed > READ_FOR:
                break
            where = f"{settings.IMAP_FOLDER}; UIDVALIDITY {validity}; UID {uid}"
            try:
                raw = _fetched(server, uid)
                if raw is not None:
                    _count(taken, raw, taken_from=where, at=at + timedelta(seconds=passed))
                    _set_aside(server, uid)
            except MailboxSaysNo:
                log.info("A mail was not moved aside: another reader did, or the next look does")
    return taken


def read_folder(folder: Path, *, at: datetime) -> Taken:
    """Take the files of a folder that are mails (*.eml); they stay where they are."""
    taken = Taken()
    for path in sorted(folder.glob("*.eml")):
        with path.open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
        _count(taken, raw, taken_from=path.name, at=at)
    return taken


def _count(taken: Taken, raw: bytes, *, taken_from: str, at: datetime) -> None:
    if take_mail(raw, taken_from=taken_from, at=at) is None:
        taken.known += 1
    else:
        taken.new += 1


@contextmanager
def _opened() -> Iterator[imaplib.IMAP4]:
    """A connection that is signed in, with the folder selected."""
    server = _connected()
    try:
        server.login(settings.IMAP_USER, settings.IMAP_PASSWORD)
        # What it can do, it may say only to whoever is signed in.
        can = _ask(server.capability())[0] or b""
        server.capabilities = tuple(can.decode().upper().split())
        if settings.IMAP_TAKEN_FOLDER:
            server.create(_quoted(settings.IMAP_TAKEN_FOLDER))  # "no": it is there already
        _ask(server.select(_quoted(settings.IMAP_FOLDER)))
        yield server
    finally:
        try:
            server.logout()
        except UNREACHABLE:
            server.shutdown()


def _connected() -> imaplib.IMAP4:
    host, port = settings.IMAP_HOST, settings.IMAP_PORT
    trusted = ssl.create_default_context(cafile=settings.IMAP_CA or None)
    if settings.IMAP_TLS == "tls":
        return imaplib.IMAP4_SSL(host, port, ssl_context=trusted, timeout=TIMEOUT)
    server = imaplib.IMAP4(host, port, timeout=TIMEOUT)
    if settings.IMAP_TLS == "starttls":
        server.starttls(trusted)
    return server


def _validity(server: imaplib.IMAP4) -> str:
    _, found = server.response("UIDVALIDITY")
    value = found[0] if found else b""
    return value.decode() if isinstance(value, bytes) else ""


def _uids(server: imaplib.IMAP4) -> list[str]:
    found = _ask(server.uid("SEARCH", "UNDELETED"))[0] or b""
    return [one.decode() for one in found.split()]


def _fetched(server: imaplib.IMAP4, uid: str) -> bytes | None:
    """The beginning of a mail, with which a reader of the mailbox has not seen it (PEEK)."""
    for item in _ask(server.uid("FETCH", uid, f"(BODY.PEEK[]<0.{MOST_BYTES + 1}>)")):
        if isinstance(item, tuple):
            return bytes(item[1])
    return None


def _set_aside(server: imaplib.IMAP4, uid: str) -> None:
    """Move a mail to the other folder, or mark it deleted where there is none (RFC 6851)."""
    folder = settings.IMAP_TAKEN_FOLDER
    if folder and "MOVE" in server.capabilities:
        _ask(server.uid("MOVE", uid, _quoted(folder)))
        return
    if folder:
        _ask(server.uid("COPY", uid, _quoted(folder)))
    _ask(server.uid("STORE", uid, "+FLAGS.SILENT", r"(\Deleted)"))
    if "UIDPLUS" in server.capabilities:  # else whoever empties the mailbox does it
        _ask(server.uid("EXPUNGE", uid))


def _ask(answer: tuple[str, list[Any]]) -> list[Any]:
    said, data = answer
    if said != "OK":
        raise MailboxSaysNo(said)
    return data


def _quoted(name: str) -> str:
    escaped = name.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
