"""Mails as they come to the programme's mailbox: delivery reports and answers."""

from datetime import datetime
from email.message import EmailMessage
from email.utils import format_datetime

from education.models import Message


def came_back(
    message: Message,
    status: str = "5.1.1",
    *,
    at: datetime,
    action: str = "failed",
    by_id: bool = True,
    number: int = 1,
) -> bytes:
    """A delivery status notification about an email of ours (RFC 3464)."""
    back = f"Message-ID: {message.message_id}\n" if by_id else ""
    return (
        "Return-Path: <>\nFrom: Mail Delivery System <MAILER-DAEMON@mx.example.org>\n"
        f"Date: {format_datetime(at)}\nMessage-ID: <{message.pk}.{number}@mx.example.org>\n"
        "Subject: Undelivered Mail Returned to Sender\nMIME-Version: 1.0\n"
        'Content-Type: multipart/report; report-type=delivery-status; boundary="B"\n\n'
        "--B\n\nI am sorry.\n--B\nContent-Type: message/delivery-status\n\n"
        "Reporting-MTA: dns; mx.example.org\n\n"
        f"Final-Recipient: rfc822; {message.address}\nAction: {action}\nStatus: {status}\n"
        "Diagnostic-Code: smtp; 550 5.1.1 no such user here\n\n"
        f"--B\nContent-Type: text/rfc822-headers\n\n{back}Subject: x\n\n--B--\n"
    ).encode()


def wrote_back(
    message: Message,
    text: str,
    *,
    subject: str = "Re: Your link",
    sender: str = "",
    automatic: bool = False,
) -> bytes:
    """What a reader writes back, or a machine in their place (RFC 3834, section 5)."""
    mail = EmailMessage()
    mail["From"] = f"Somebody <{sender or message.address}>"
    mail["Subject"] = subject
    mail["In-Reply-To"] = message.message_id
    mail["Message-ID"] = f"<answer-{message.pk}-{automatic}@example.org>"
    if automatic:
        mail["Auto-Submitted"] = "auto-replied"
    mail.set_content(text)
    return mail.as_bytes()
