"""An email's text that was filled in is the one that the library would put together anew."""

import email
import email.policy
import re
from email.message import EmailMessage
from uuid import uuid4

import pytest
from django.core.mail import get_connection
from django.core.mail.message import sanitize_address

from education.email_text import Email, as_sent, on_envelope
from education.email_words import Words, change
from education.emails import LINKED, Kept, email_of
from education.models import Message
from patients.clock import now
from tests.factories import a_member, an_assignment, an_invitation

pytestmark = pytest.mark.django_db

DAY = re.compile(rb"^Date: .*\r\n", re.MULTILINE)
# RFC 5322, appendix A.5 and section 3.4.1; RFC 6531 for letters that are not ASCII.
IN_ANOTHER_FORM = [
    '"quiet reader"@example.org',
    "lector@ejemplo-ñ.example",
    "a" * 62 + "@b.example",
]


def a_message(address: str = "reader.two+q@example.org", language: str = "en") -> Message:
    invitation, _ = an_invitation(assignment=an_assignment())
    message = Message.objects.get(invitation=invitation)
    message.address, message.language = address, language
    message.message_id = f"<{uuid4()}@larkfield.example>"
    return message


def an_email(message: Message, words: Kept, token: str) -> Email:
    made = email_of(message, token, words=words, connection=get_connection())
    assert isinstance(made, Email)
    return made


def without_day(text: bytes) -> bytes:
    rest, days = DAY.subn(b"", text)
    assert days == 1
    return rest


@pytest.mark.parametrize("language", ["en", "es"])
def test_it_is_byte_for_byte_the_same(language: str) -> None:
    words = Kept()
    tokens = ["A" * 43, "b-_" + "9" * 40]
    sent = [an_email(a_message(language=language), words, token) for token in tokens]
    for one, token in zip(sent, tokens, strict=True):
        assert one.filled_in is not None
        assert as_sent(one) == one.filled_in
        anew = one.message().as_bytes(linesep="\r\n")
        assert without_day(one.filled_in) == without_day(anew)
        assert token.encode() in anew
    assert words.place.encode() not in b"".join(map(as_sent, sent))


def test_a_short_message_id_makes_the_same_email() -> None:
    """Only the line that names what parts it is folded at another place (RFC 5322, 2.2.3)."""
    message = a_message()
    message.message_id = "<7@larkfield.example>"
    one = an_email(message, Kept(), "t" * 43)
    read, anew = (
        email.message_from_bytes(text, policy=email.policy.default)
        for text in (as_sent(one), one.message().as_bytes(linesep="\r\n"))
    )
    assert isinstance(read, EmailMessage)
    assert isinstance(anew, EmailMessage)
    assert sorted(read.keys()) == sorted(anew.keys())
    assert [read[name] for name in ("To", "Message-ID", "Subject", "From")] == [
        anew[name] for name in ("To", "Message-ID", "Subject", "From")
    ]
    for kind in ("plain", "html"):
        parts = [whole.get_body((kind,)) for whole in (read, anew)]
        assert parts[0]
        assert parts[1]
        assert parts[0].get_content() == parts[1].get_content()


@pytest.mark.parametrize("address", IN_ANOTHER_FORM)
def test_an_address_in_another_form_is_left_to_the_library(address: str) -> None:
    one = an_email(a_message(address=address), Kept(), "t" * 43)
    assert one.filled_in is None
    assert without_day(as_sent(one)) == without_day(one.message().as_bytes(linesep="\r\n"))


def test_a_line_too_long_for_an_email_does_not_break_the_link() -> None:
    """Over 998 characters (RFC 5322, 2.1.1) a text is sent in another encoding, in short lines."""
    message = a_message()
    name, _ = LINKED[message.purpose]
    long = Words("Your link", before="word " * 300, after="")
    change(name, "en", long, at=now(), by_id=a_member("administrator").pk)
    token = "t" * 43
    one = an_email(message, Kept(), token)
    read = email.message_from_bytes(as_sent(one), policy=email.policy.default)
    assert isinstance(read, EmailMessage)
    plain = read.get_body(("plain",))
    assert plain is not None
    assert f"/q/{token}/" in plain.get_content()
    assert max(map(len, as_sent(one).split(b"\r\n"))) <= 998


@pytest.mark.parametrize("address", ["reader.two+q@example.org", *IN_ANOTHER_FORM[:2]])
def test_the_envelope_has_the_address_as_the_library_writes_it(address: str) -> None:
    assert on_envelope([address]) == [sanitize_address(address, "utf-8")]


def test_the_envelope_has_no_name() -> None:
    assert on_envelope(["Quiet Programme <quiet@larkfield.example>"]) == ["quiet@larkfield.example"]
