"""One function for each email. Words are in templates/emails/<name>/."""

from datetime import date
from typing import Protocol

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.core.mail.backends.base import BaseEmailBackend
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import translation

from education.email_words import EDITABLE, Words, in_force
from education.models import Message
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
# What a preview shows in place of a real link and date.
EXAMPLE_LINK = "https://programme.invalid/q/your-personal-link/"
EXAMPLE_DAY = date(2027, 3, 16)


def invitation_email(
    message: Message, token: str, *, connection: BaseEmailBackend
) -> EmailMultiAlternatives:
    """Return the email that carries a personal link, in the patient's language."""
    return written(message, "invitation", {"link": _quiz(message, token)}, connection=connection)


def reminder_email(
    message: Message, token: str, *, connection: BaseEmailBackend
) -> EmailMultiAlternatives:
    """Return the email that reminds of a link, with the clear-by date that it was written for."""
    clear_by = message.reminder.clear_by
    with translation.override(message.language):
        day = long_day(clear_by)
    context = {
        "link": _quiz(message, token),
        "day": day,
        "passed": message.for_day is not None and message.for_day > clear_by,
    }
    return written(message, "reminder", context, connection=connection)


def plan_email(
    message: Message, token: str, *, connection: BaseEmailBackend
) -> EmailMultiAlternatives:
    """Return the email that carries the link to an eating plan, in the patient's language."""
    return written(message, "plan", {"link": _plan(message, token)}, connection=connection)


def plan_moved_email(
    message: Message, token: str, *, connection: BaseEmailBackend
) -> EmailMultiAlternatives:
    """Return the email that says that the days of an eating plan are others, and where they are."""
    return written(message, "plan_moved", {"link": _plan(message, token)}, connection=connection)


def answer_email(
    message: Message, token: str, *, connection: BaseEmailBackend
) -> EmailMultiAlternatives:
    """Return the email that says that an answer waits, and nothing of it."""
    address = reverse("answer", args=[token], query={"l": message.language})
    link = settings.PUBLIC_URL + address
    return written(message, "answer", {"link": link}, connection=connection)


def _quiz(message: Message, token: str) -> str:
    # The page knows nothing about the patient, so the link itself says the email's language.
    query = {"l": message.language}
    return settings.PUBLIC_URL + reverse("quiz-start", args=[token], query=query)


def _plan(message: Message, token: str) -> str:
    query = {"l": message.language}
    return settings.PUBLIC_URL + reverse("plan", args=[token], query=query)


def written(
    message: Message, name: str, context: dict[str, object], *, connection: BaseEmailBackend
) -> EmailMultiAlternatives:
    """Return the email with the words of a folder, in the message's language."""
    subject, text, html = rendered(name, message.language, context)
    email = EmailMultiAlternatives(
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
) -> tuple[str, str, str]:
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


def preview_of(name: str, language: str, words: Words) -> tuple[str, str, str]:
    """Return an email as it would go out with these words: subject, text, HTML. Sends nothing."""
    with translation.override(language):
        context: dict[str, object] = {"link": EXAMPLE_LINK, "day": long_day(EXAMPLE_DAY)}
    return rendered(name, language, context, words)
