"""The channel that sends through a mail service by its own interface (django-anymail)."""

from datetime import datetime

from anymail.exceptions import AnymailRecipientsRefused, AnymailRequestsAPIError
from requests import ConnectTimeout, RequestException
from urllib3.exceptions import NewConnectionError

from education.by_email import ByEmail, made
from education.channel import HandedOver, Outcome
from education.models import Message

ROW = "message"  # under this name our Message-ID comes back with each report


class ByHostedMail(ByEmail):
    """Sends each message through the service; its reports come by `education.hosted_events`."""

    def _send(self, message: Message, *, at: datetime) -> HandedOver:
        email = made(message, at=at, words=self.words, connection=self.connection)
        # The service repeats it in its reports. Nobody is watched while reading, and the one link
        # stays the one that is shown (promise W10).
        options = {"metadata": {ROW: message.message_id}, "track_opens": False}
        email.__dict__.update(options, track_clicks=False)
        self.connection.open()
        try:
            email.send()
        except AnymailRecipientsRefused:
            return HandedOver(Outcome.REFUSED, "refused by the mail service", bad_address=True)
        except AnymailRequestsAPIError as broken:
            self.close()
            return _unsent(broken)
        called = getattr(email, "anymail_status", None)
        return HandedOver(Outcome.TAKEN, reference=_name(called and called.message_id))


def _unsent(broken: AnymailRequestsAPIError) -> HandedOver:
    """Without an answer the service may have taken it; whatever it answers, it has not."""
    cause = broken.__cause__
    if broken.status_code is not None:
        return HandedOver(Outcome.LATER, f"the mail service answered {broken.status_code}")
    if isinstance(cause, RequestException) and not _never_connected(cause):
        said = f"no answer of the mail service ({type(cause).__name__})"
        return HandedOver(Outcome.UNKNOWN, said)
    return HandedOver(Outcome.LATER, type(cause or broken).__name__)


def _never_connected(cause: RequestException) -> bool:
    reason = getattr(cause.args[0], "reason", None) if cause.args else None
    return isinstance(cause, ConnectTimeout) or isinstance(reason, NewConnectionError)


def _name(called: object) -> str:
    """A service calls it by one name, or by one for each recipient, of whom there is one."""
    if isinstance(called, set | frozenset):
        called = next(iter(called), "")
    return "" if called is None else str(called)
