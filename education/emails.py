"""One function for each email. Words are in templates/emails/<name>/."""

import secrets
from datetime import date
from typing import Protocol

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.core.mail.backends.base import BaseEmailBackend
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import translation

from education.answer import ANSWER
from education.email_text import Email, Ready
from education.email_words import EDITABLE, Words, in_force
from education.invite import INVITATION, REMINDER, RENEWAL
from education.models import Message
from education.plan_link import PLAN
from education.plan_moves import PLAN_MOVED
from education.written_days import long_day
from patients import programme
from patients.rules.languages import direction_of


class Make(Protocol):
    """Makes the email of a message that carries no personal link."""

    def __call__(
        self, message: Message, *, connection: BaseEmailBackend
    ) -> EmailMultiAlternatives: ...


# By purpose; what leads to the staff's pages is added by the clinic, which knows them.
WITHOUT_LINK: dict[str, Make] = {}
# The folder of words, and the page behind the link, of each purpose that has a link.
LINKED = {
    INVITATION: ("invitation", "quiz-start"),
    RENEWAL: ("invitation", "quiz-start"),
    REMINDER: ("reminder", "quiz-start"),
    PLAN: ("plan", "plan"),
    PLAN_MOVED: ("plan_moved", "plan"),
    ANSWER: ("answer", "answer"),
}
Letter = tuple[str, str, str]  # the subject, the plain text, the HTML
# What a preview shows in place of a real link and date.
EXAMPLE_LINK = "https://programme.invalid/q/your-personal-link/"
EXAMPLE_DAY = date(2027, 3, 16)


def email_of(
    message: Message, token: str, *, words: "Kept", connection: BaseEmailBackend
) -> EmailMultiAlternatives:
    """Return the email that carries a personal link, in the patient's language.

    A reminder names the clear-by date that it was written for; of an answer it says nothing.
    """
    letter, ready = words.with_link(message)
    subject, text, html = letter
    place = words.place
    email = _email(
        message, (subject, text.replace(place, token), html.replace(place, token)), connection
    )
    email.filled_in = ready.filled_in(email, token)
    return email


def _about_reminder(message: Message) -> dict[str, object]:
    clear_by = message.reminder.clear_by
    with translation.override(message.language):
        day = long_day(clear_by)
    return {"day": day, "passed": message.for_day is not None and message.for_day > clear_by}


class Kept:
    """The words of emails with a link, put together once for as long as this is kept."""

    def __init__(self) -> None:
        self.place = secrets.token_urlsafe(32)  # like a token, and stands where the token goes
        self._kept: dict[object, tuple[Letter, Ready]] = {}

    def with_link(self, message: Message) -> tuple[Letter, Ready]:
        """Return the words of an email, and its text; `place` is in them."""
        name, page = LINKED[message.purpose]
        about = _about_reminder(message) if name == "reminder" else {}
        key = (name, page, message.language, *about.items())
        if key not in self._kept:
            # The page knows nothing about the patient: the link itself says the email's language.
            address = reverse(page, args=[self.place], query={"l": message.language})
            link = {"link": settings.PUBLIC_URL + address}
            letter = rendered(name, message.language, link | about)
            self._kept[key] = letter, Ready(*letter, place=self.place)
        return self._kept[key]


def written(
    message: Message, name: str, context: dict[str, object], *, connection: BaseEmailBackend
) -> EmailMultiAlternatives:
    """Return the email with the words of a folder, in the message's language."""
    return _email(message, rendered(name, message.language, context), connection)


def _email(message: Message, letter: Letter, connection: BaseEmailBackend) -> Email:
    subject, text, html = letter
    email = Email(
        subject=subject,
        body=text,
        from_email=settings.MAIL_FROM,
        to=[message.address],
        headers={"Message-ID": message.message_id},
        connection=connection,
    )
    email.attach_alternative(html, "text/html")
    return email


def rendered(
    name: str, language: str, context: dict[str, object], words: Words | None = None
) -> Letter:
    """Return the subject, the plain text and the HTML of an email.

    `words`: to be shown in place of those in force; of an email whose words can be changed.
    """
    context = {
        **context,
        "programme": programme.current(),
        "language": language,
        "direction": direction_of(language),
    }
    with translation.override(language):
        if name in EDITABLE:
            words = words or in_force(name, language)
            subject = words.subject
            context |= {
                "subject": subject,
                "before": words.paragraphs_before,
                "after": words.paragraphs_after,
            }
        else:
            subject = render_to_string(f"emails/{name}/subject.txt", context).strip()
        text = render_to_string(f"emails/{name}/body.txt", context)
        html = render_to_string(f"emails/{name}/body.html", context)
    return subject, text, html


def preview_of(name: str, language: str, words: Words) -> Letter:
    """Return an email as it would go out with these words: subject, text, HTML. Sends nothing."""
    with translation.override(language):
        context: dict[str, object] = {"link": EXAMPLE_LINK, "day": long_day(EXAMPLE_DAY)}
    return rendered(name, language, context, words)
