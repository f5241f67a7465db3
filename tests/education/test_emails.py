"""The invitation's email, as it is sent (promise W10), and whether its link says its language."""

import email
import email.policy
import re
from email.message import EmailMessage

import pytest
from django.core import mail
from django.test import override_settings

from education.models import Message
from education.rules.reading import sentences
from education.send import send
from patients.clock import now
from tests.factories import a_patient, an_assignment, an_invitation, an_operation

pytestmark = pytest.mark.django_db

# Words that would tell a neighbour at the screen what the email is about. Our own list.
HEALTH_WORDS = set(
    re.findall(
        r"\w+",
        """operation surgery surgical weight bariatric diet dietitian liquid patient hospital clinic
        health medical medicine quiz doctor nurse operación cirugía peso dieta dietista líquido
        paciente clínica salud médico medicina cuestionario""",
    )
)
PREVIEW = 200  # characters of the text that a mailbox may show beside the subject


def sent_in(language: str) -> EmailMessage:
    """Send an invitation and read it as RFC 5322 has it, with Python's own parser."""
    patient = a_patient(
        given_names="Quilla", family_names="Vandersloot", mrn=f"KX-{language}-77", language=language
    )
    assignment = an_assignment(operation=an_operation(patient=patient))
    invitation, _ = an_invitation(assignment=assignment)
    assert send(Message.objects.get(invitation=invitation).pk, at=now())
    raw = mail.outbox[-1].message().as_bytes()
    assert len(raw) <= 30_000
    parsed = email.message_from_bytes(raw, policy=email.policy.default)
    assert isinstance(parsed, EmailMessage)
    assert not parsed.defects
    return parsed


@pytest.fixture(params=["en", "es"])
def language(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def body(parsed: EmailMessage, kind: str) -> str:
    part = parsed.get_body((kind,))
    assert part is not None
    return str(part.get_content())


@override_settings(MAIL_FROM="programme@larkfield.example", MAIL_DOMAIN="larkfield.example")
def test_w10_subject_preview_headers_and_link_say_nothing(language: str) -> None:
    parsed = sent_in(language)
    link = re.findall(r"https?://\S+", body(parsed, "plain"))[0]
    shown = [str(parsed["Subject"]), str(parsed["From"]), body(parsed, "plain")[:PREVIEW], link]
    shown += [f"{name}: {value}" for name, value in parsed.items() if name != "To"]
    for text in shown:
        words = set(re.findall(r"\w+", text.lower()))
        assert words.isdisjoint(HEALTH_WORDS)
        for fact in ("quilla", "vandersloot", "kx-"):
            assert fact not in text.lower()


def test_w10_the_text_comes_first_and_is_short(language: str) -> None:
    parsed = sent_in(language)
    parts = [part.get_content_type() for part in parsed.iter_parts()]
    assert parts == ["text/plain", "text/html"]
    text = body(parsed, "plain")
    assert len(text.split()) <= 120
    for sentence in sentences(text.split("\n\n")):
        assert len(sentence.split()) <= 20


def test_w10_there_is_one_link_and_it_is_shown_in_full(language: str) -> None:
    parsed = sent_in(language)
    links = re.findall(r"https?://\S+", body(parsed, "plain"))
    assert len(links) == 1
    assert re.findall(r'<a href="([^"]+)">([^<]+)</a>', body(parsed, "html")) == [
        (links[0], links[0])
    ]
    assert body(parsed, "html").count("http") == 2
    assert links[0].endswith(f"/?l={language}")


def test_w10_the_html_part_says_what_the_text_says_and_loads_nothing(language: str) -> None:
    parsed = sent_in(language)
    html = body(parsed, "html")
    assert f'<html lang="{language}">' in html
    for tag in ("<img", "<script", "<link", "<style", "style="):
        assert tag not in html
    said = " ".join(re.sub(r"<head>.*</head>|<[^>]+>", " ", html, flags=re.S).split())
    assert said == " ".join(body(parsed, "plain").split())


def test_w10_the_two_languages_differ() -> None:
    assert str(sent_in("en")["Subject"]) != str(sent_in("es")["Subject"])


@override_settings(MAIL_FROM="programme@larkfield.example", MAIL_DOMAIN="larkfield.example")
def test_a_message_keeps_its_message_id_and_names_its_programme() -> None:
    parsed = sent_in("en")
    assert parsed["Message-ID"] == Message.objects.get().message_id
    assert parsed["From"] == "programme@larkfield.example"
    assert "Larkfield Programme" in body(parsed, "plain")
    assert "(312) 555-0142" in body(parsed, "plain")
