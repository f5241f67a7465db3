"""What came to the demo's mailbox: a mail that came back, and somebody's answer."""

from dataclasses import dataclass
from datetime import datetime
from email.message import EmailMessage
from email.utils import format_datetime
from typing import ClassVar

from clinic.demo.events import BEFORE
from clinic.demo.stage import Stage, invitation
from education.models import Message
from education.take_mail import take_mail

WHERE = "the demo's mailbox"


@dataclass(frozen=True)
class CameBack:
    """The email with the link came back: there is no such mailbox (RFC 3464, RFC 3463)."""

    days_ago: int
    module: str = BEFORE
    hour: ClassVar[int] = 9

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        message = Message.objects.get(invitation=invitation(mrn, self.module))
        said = f"smtp; 550 5.1.1 <{message.address}>: no such user here"
        report = (
            f"From: Mail Delivery System <mailer-daemon@example.org>\nDate: {format_datetime(at)}\n"
            f"Message-ID: <back-{message.pk}@example.org>\n"
            "Subject: Undelivered Mail Returned to Sender\n"
            'Content-Type: multipart/report; report-type=delivery-status; boundary="=b"\n\n'
            "--=b\n\nThis email could not be delivered.\n"
            "--=b\nContent-Type: message/delivery-status\n\nReporting-MTA: dns; mx.example.org\n\n"
            f"Final-Recipient: rfc822; {message.address}\nAction: failed\nStatus: 5.1.1\n"
            f"Diagnostic-Code: {said}\n\n"
            f"--=b\nContent-Type: text/rfc822-headers\n\nMessage-ID: {message.message_id}\n--=b--\n"
        )
        take_mail(report.encode(), taken_from=WHERE, at=at)


@dataclass(frozen=True)
class WroteBack:
    """The patient answered the email with the link."""

    days_ago: int
    text: str
    module: str = BEFORE
    hour: ClassVar[int] = 19

    def play(self, stage: Stage, mrn: str, at: datetime) -> None:
        message = Message.objects.get(invitation=invitation(mrn, self.module))
        answer = EmailMessage()
        answer["From"], answer["Date"] = message.address, format_datetime(at)
        answer["Subject"], answer["In-Reply-To"] = "Re: Your link", message.message_id
        answer["Message-ID"] = f"<wrote-{message.pk}@example.org>"
        answer.set_content(self.text)
        take_mail(answer.as_bytes(), taken_from=WHERE, at=at)
