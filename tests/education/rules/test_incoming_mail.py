"""What a mail in the programme's mailbox is, and what a delivery report in it says.

The notifications are the examples of RFC 3464, appendix D, which define what has to be read; the
complaint is shaped as in RFC 5965, appendix B. Status codes: RFC 3463, section 3. Automatic
answers: RFC 3834. Encoded words: the examples of RFC 2047, section 8.
"""

import time
from datetime import UTC, datetime
from email.message import EmailMessage

import pytest

from education.rules.delivery import Told, Why, class_of, more_exact, status_in, why_marked
from education.rules.incoming_mail import MOST_BYTES, Incoming, Kind, key_of, read

OURS = "<6f1d7a44-0c1e-4f6d-9d39-0a2f6a3d5b11@larkfield.example>"


def notification(status: str, *, returned: str = "", part: str = "message/rfc822") -> bytes:
    """A multipart/report around the part that the RFC prints, and the returned email."""
    back = f"--B\nContent-Type: {part}\n\n{returned}\n" if returned else ""
    return (
        "From: Mail Delivery Subsystem <MAILER-DAEMON@CS.UTK.EDU>\n"
        "Date: Thu, 7 Jul 1994 17:16:05 -0400\n"
        "Message-Id: <199407072116.RAA14128@CS.UTK.EDU>\n"
        "Subject: Returned mail: Cannot send message for 5 days\n"
        "MIME-Version: 1.0\n"
        'Content-Type: multipart/report; report-type=delivery-status; boundary="B"\n\n'
        "--B\n\nThe original message was received at Sat, 2 Jul 1994 17:10:28 -0400\n"
        f"--B\ncontent-type: message/delivery-status\n\n{status}\n{back}--B--\n"
    ).encode()


# RFC 3464, appendix D.1, D.2, D.3 and D.4: their message/delivery-status parts.
SIMPLE = """Reporting-MTA: dns; cs.utk.edu

Original-Recipient: rfc822;louisl@larry.slip.umd.edu
Final-Recipient: rfc822;louisl@larry.slip.umd.edu
Action: failed
Status: 4.0.0
Diagnostic-Code: smtp; 426 connection timed out
Last-Attempt-Date: Thu, 7 Jul 1994 17:15:49 -0400
"""
SEVERAL = """Reporting-MTA: dns; cs.utk.edu

Original-Recipient: rfc822;arathib@vnet.ibm.com
Final-Recipient: rfc822;arathib@vnet.ibm.com
Action: failed
Status: 5.0.0 (permanent failure)
Diagnostic-Code: smtp;
 550 'arathib@vnet.IBM.COM' is not a registered gateway user
Remote-MTA: dns; vnet.ibm.com

Original-Recipient: rfc822;johnh@hpnjld.njd.hp.com
Final-Recipient: rfc822;johnh@hpnjld.njd.hp.com
Action: delayed
Status: 4.0.0 (hpnjld.njd.jp.com: host name lookup failure)

Original-Recipient: rfc822;wsnell@sdcc13.ucsd.edu
Final-Recipient: rfc822;wsnell@sdcc13.ucsd.edu
Action: failed
Status: 5.0.0
Diagnostic-Code: smtp; 550 user unknown
Remote-MTA: dns; sdcc13.ucsd.edu
"""
GATEWAY = """Reporting-MTA: mailbus; SYS30

Final-Recipient: unknown; nair_s
Status: 5.0.0 (unknown permanent failure)
Action: failed
"""
DELAYED = """Reporting-MTA: dns; sun2.nsfnet-relay.ac.uk

Final-Recipient: rfc822;thomas@de-montfort.ac.uk
Status: 4.0.0 (unknown temporary failure)
Action: delayed
"""
RFC_3464: list[tuple[str, list[tuple[str, Told, str]]]] = [
    (SIMPLE, [("louisl@larry.slip.umd.edu", Told.GAVE_UP, "4.0.0")]),
    (
        SEVERAL,
        [
            ("arathib@vnet.ibm.com", Told.BOUNCED, "5.0.0"),
            ("johnh@hpnjld.njd.hp.com", Told.DELAYED, "4.0.0"),
            ("wsnell@sdcc13.ucsd.edu", Told.BOUNCED, "5.0.0"),
        ],
    ),
    (GATEWAY, [("nair_s", Told.BOUNCED, "5.0.0")]),
    (DELAYED, [("thomas@de-montfort.ac.uk", Told.DELAYED, "4.0.0")]),
]


@pytest.mark.parametrize("status, told", RFC_3464, ids=["D.1", "D.2", "D.3", "D.4"])
@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_the_notifications_of_rfc_3464(
    status: str, told: list[tuple[str, Told, str]], ends: str
) -> None:
    raw = notification(status, returned=f"Message-ID: {OURS}\nSubject: x\n\nx")
    found = read(raw.replace(b"\n", ends.encode()))
    assert found.kind == Kind.REPORT
    assert [(one.address, one.kind, one.status) for one in found.recipients] == told
    assert found.about == (OURS,)
    assert found.sent_at == datetime(1994, 7, 7, 21, 16, 5, tzinfo=UTC)


def test_what_the_first_of_them_says_besides() -> None:
    (one,) = read(notification(SIMPLE)).recipients
    assert one.said == "426 connection timed out"
    assert one.at == datetime(1994, 7, 7, 21, 15, 49, tzinfo=UTC)


@pytest.mark.parametrize("part", ["message/rfc822", "text/rfc822-headers", "message/global"])
def test_the_returned_email_is_known_by_its_message_id(part: str) -> None:
    found = read(notification(GATEWAY, returned=f"Message-ID: {OURS}\n\nx", part=part))
    assert found.about == (OURS,)


# RFC 3463: what the code says, and whether anything may still go to the address.
CODES: list[tuple[str, int | None, Why | None]] = [
    ("5.1.1", 5, Why.NO_MAILBOX),
    ("5.1.2", 5, Why.NO_DOMAIN),
    ("5.1.6", 5, Why.CLOSED),
    ("5.1.10", 5, Why.NO_DOMAIN),  # RFC 7505
    ("5.2.1", 5, Why.CLOSED),
    ("5.2.2", 5, Why.FULL),
    ("5.7.1", 5, Why.REFUSED),
    ("5.0.0", 5, Why.REFUSED),
    ("", None, Why.REFUSED),
]


@pytest.mark.parametrize("status, is_class, why", CODES)
def test_status_codes(status: str, is_class: int | None, why: Why | None) -> None:
    assert class_of(status) == is_class
    assert why_marked(Told.BOUNCED, status) == why
    for passing in (Told.DELIVERED, Told.DELAYED, Told.GAVE_UP):
        assert why_marked(passing, status) is None


IN_TEXT: list[tuple[str, str]] = [
    ("550 5.1.1 no such user", "5.1.1"),
    ("the server said: 550 No such user here", "5.0.0"),
    ("smtp; 452-4.2.2 over quota.", "4.2.2"),
    ("421 try again", "4.0.0"),
    ("call (312) 555-0142 or 550-0199", ""),
    ("the host 5.1.1.2 answered", ""),
    ("in the year 1550 and 4500 more", ""),
    ("it came to 5.1.1.", "5.1.1"),
]


@pytest.mark.parametrize("text, status", IN_TEXT)
def test_a_status_in_a_text(text: str, status: str) -> None:
    assert status_in(text) == status


def test_the_more_exact_of_two_codes_of_one_class() -> None:
    assert more_exact("5.0.0", "550 5.1.1 no such user") == "5.1.1"
    assert more_exact("5.2.2", "550 5.1.1 no such user") == "5.2.2"
    assert more_exact("4.0.0", "550 5.1.1 no such user") == "4.0.0"
    assert more_exact("", "550 user unknown") == "5.0.0"


def mail(text: str = "Thank you", **headers: str) -> EmailMessage:
    """A mail as a patient's program would send it."""
    made = EmailMessage()
    for name, value in {"From": "Reader <reader@example.org>", **headers}.items():
        made[name.replace("_", "-")] = value
    made.set_content(text)
    return made


BODY = (
    f"<reader@example.org>: host mx.example.org said: 550 5.1.1 no such user\n\nMessage-ID: {OURS}"
)
SYSTEM = {"From": "MAILER-DAEMON@example.org", "Subject": "Undelivered Mail Returned to Sender"}
TOLD_APART: list[tuple[str, EmailMessage, Kind]] = [
    ("somebody's answer", mail(Subject="Re: Your link", In_Reply_To=OURS), Kind.ANSWER),
    ("a mail of somebody's own", mail(Subject="Hello"), Kind.ANSWER),
    ("said to be written by hand", mail(Auto_Submitted="no"), Kind.ANSWER),
    ("no words at all", mail(""), Kind.ANSWER),
    ("about a failure, by a person", mail("550 5.1.1", Subject="Delivery failed"), Kind.ANSWER),
    ("RFC 3834", mail(Auto_Submitted="auto-replied", In_Reply_To=OURS), Kind.AUTOMATIC),
    ("RFC 3834 with a comment", mail(Auto_Submitted="auto-generated; x=y"), Kind.AUTOMATIC),
    ("a list", mail(List_Id="<news.example.org>"), Kind.AUTOMATIC),
    ("as was usual before", mail(Precedence="bulk"), Kind.AUTOMATIC),
    ("no sender in the envelope", mail(Return_Path="<>", Subject="Away"), Kind.AUTOMATIC),
    ("came back, no report", mail(BODY, **SYSTEM), Kind.BOUNCE),
    ("came back, no sender", mail(BODY, Return_Path="<>", Subject="failure notice"), Kind.BOUNCE),
]


@pytest.mark.parametrize("case, sent, kind", TOLD_APART, ids=[row[0] for row in TOLD_APART])
def test_who_wrote_it(case: str, sent: EmailMessage, kind: Kind) -> None:
    assert read(sent.as_bytes()).kind == kind


def test_what_came_back_without_a_report_says_its_status_and_which_email() -> None:
    found = read(mail(BODY, **SYSTEM).as_bytes())
    assert [(one.kind, one.status) for one in found.recipients] == [(Told.BOUNCED, "5.1.1")]
    assert OURS in found.about
    vague = read(mail("It could not be delivered.", **SYSTEM).as_bytes())
    assert vague.recipients == (), "without a code a person looks at it"


def test_a_complaint_and_the_opposite_of_one() -> None:
    raw = (
        "From: <abusedesk@example.com>\nSubject: FW: Earn money\n"
        'Content-Type: multipart/report; report-type=feedback-report; boundary="B"\n\n'
        "--B\n\nThis is an email abuse report.\n"
        "--B\nContent-Type: message/feedback-report\n\n"
        "Feedback-Type: abuse\nUser-Agent: SomeGenerator/1.0\nVersion: 1\n\n"
        f"--B\nContent-Type: message/rfc822\n\nMessage-ID: {OURS}\n\nx\n--B--\n"
    )
    found = read(raw.encode())
    assert (found.kind, found.about) == (Kind.COMPLAINT, (OURS,))
    assert read(raw.replace("abuse\n", "not-spam\n").encode()).kind == Kind.AUTOMATIC


@pytest.mark.parametrize(
    "written, shown",
    [
        ("=?ISO-8859-1?Q?a?= b", "a b"),
        ("=?ISO-8859-1?Q?a?= =?ISO-8859-1?Q?b?=", "ab"),
        ("=?ISO-8859-1?Q?a_b?=", "a b"),
        ("=?ISO-8859-1?Q?a?= =?ISO-8859-2?Q?_b?=", "a b"),
        ("=?no-such-charset?Q?a?=", "a"),
        ("=?utf-8?B?!!!?=", ""),
        ("grüße, año", "grüße, año"),  # RFC 6532
        ("a\x00b", "ab"),
        ("\u202eevil", "evil"),
    ],
)
def test_encoded_words_of_rfc_2047_and_what_hides_in_headers(written: str, shown: str) -> None:
    assert read(f"Subject: {written}\n\nx".encode()).subject == shown


def test_an_answer_says_what_was_written_and_opens_nothing() -> None:
    """What it quotes has a personal link, of which nothing is kept (fault 1 of the other kind)."""
    token = "q8Zr1T-x0Yw2uVbN5mK7jH4gF3dS6aP9oI_uYtReWqL"
    text = (
        "Can I do this on Thursday? My old link was\n"
        f"https://larkfield.example/q/{token}/ and http://bad.example/x.\n"
        f"broken: {token[:25]}\n\nOn Monday the desk wrote:\n> Hello\n> https://l.example/q/{token}/\n"
    )
    said = read(mail(text).as_bytes()).text
    assert said.startswith("Can I do this on Thursday?")
    for gone in (token, token[:25], "http", "Hello", "wrote"):
        assert gone not in said


def test_an_answer_in_html_alone_is_read_as_words() -> None:
    sent = EmailMessage()
    sent["From"] = "reader@example.org"
    sent.set_content(
        "<html><head><title>t</title><style>p{}</style></head><body><p>Please&nbsp;call <b>me</b>"
        "</p><script>alert(1)</script><blockquote>the old text</blockquote></body></html>",
        subtype="html",
    )
    said = read(sent.as_bytes()).text
    assert said == "Please call me"


def nested(depth: int) -> bytes:
    """A multipart in a multipart in a multipart."""
    inner = "Content-Type: text/plain\n\nhello\n"
    for number in range(depth):
        head = f'Content-Type: multipart/mixed; boundary="b{number}"'
        inner = f"{head}\n\n--b{number}\n{inner}\n--b{number}--\n"
    return f"From: a@example.org\nSubject: deep\n{inner}".encode()


MALICIOUS: list[tuple[str, bytes]] = [
    ("nothing", b""),
    ("a hundred nested parts", nested(100)),
    ("thirty thousand nested parts", nested(30_000)[:MOST_BYTES]),
    ("huge", b"Subject: x\n\n" + b"a" * 5_000_000),
    ("a huge header", b"Subject: " + b"=?utf-8?B?YQ==?= " * 60_000 + b"\n\nx"),
    ("an address of brackets", b"From: " + b"(" * 100_000 + b"\n\nx"),
    ("a hundred thousand headers", b"X: y\n" * 100_000 + b"\nx"),
    ("NUL and nothing legible", bytes(range(256)) * 100),
    ("a charset that is none", b"Content-Type: text/plain; charset=\x00\xff\n\n\xff\xfe"),
    ("a report of itself", notification("Final-Recipient: x\n" * 20_000)),
    ("a date that is none", b"Date: 99 Foo 99999 99:99:99 +9999\n\nx"),
    ("links without end", b"\n\n" + b"<a@" * 200_000),
    ("brackets without end", b"In-Reply-To: " + b"<" * 50_000 + b"\n\n" + b"<" * 500_000),
]


@pytest.mark.parametrize("case, raw", MALICIOUS, ids=[row[0] for row in MALICIOUS])
def test_malicious_mail_is_read_or_parked_and_quickly(case: str, raw: bytes) -> None:
    begun = time.perf_counter()
    found = read(raw)
    key_of(raw)
    assert time.perf_counter() - begun < 3
    assert isinstance(found, Incoming)
    for text in (found.subject, found.text, found.from_address, found.message_id):
        assert "\x00" not in text
        text.encode()


def test_too_many_parts_are_parked_with_the_reason() -> None:
    found = read(nested(100))
    assert (found.kind, found.problem) == (Kind.UNREADABLE, "more than 60 parts")
    assert (found.from_address, found.subject) == ("a@example.org", "deep")


def test_one_mail_by_two_ways_is_the_same_and_a_forged_message_id_hides_nothing() -> None:
    raw = mail("Please call", Message_ID="<1@example.org>").as_bytes()
    assert key_of(b"Received: by another way\n" + raw) == key_of(raw.replace(b"\n", b"\r\n"))
    assert key_of(mail("Something else", Message_ID="<1@example.org>").as_bytes()) != key_of(raw)
