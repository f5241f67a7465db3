"""How far an email was at an instant of the past: a table. What an email's row and what is kept
beside it leave open is "not on record", never a guess (promise C5).
"""

from datetime import UTC, datetime, timedelta

import pytest

from education.mail_then import State, Traces, Unknown, then
from education.models import MessageState as S

ASKED = datetime(2026, 3, 9, 5, tzinfo=UTC)  # the end of the day asked about
BEFORE, AFTER = ASKED - timedelta(hours=2), ASKED + timedelta(hours=2)
OPEN = Unknown.NOT_ON_RECORD

ROWS: list[tuple[str, Traces, State]] = [
    ("it waits still", Traces(S.WAITING, AFTER), S.WAITING),
    ("it is being sent now", Traces(S.SENDING, BEFORE), S.WAITING),
    ("it went out before", Traces(S.SENT, BEFORE, 1, sent_at=BEFORE), S.SENT),
    ("it went out at the end of the day", Traces(S.SENT, ASKED, 1, sent_at=ASKED), S.WAITING),
    (
        "a report told afterwards that it had gone out",
        Traces(S.SENT, BEFORE, 1, sent_at=BEFORE, reports=(AFTER,)),
        OPEN,
    ),
    (
        "it came back afterwards",
        Traces(S.FAILED, BEFORE, 1, sent_at=BEFORE, failed_at=AFTER),
        S.SENT,
    ),
    ("it had come back", Traces(S.FAILED, BEFORE, 1, sent_at=BEFORE, failed_at=BEFORE), S.FAILED),
    (
        "it went out and came back afterwards",
        Traces(S.FAILED, AFTER, 1, sent_at=AFTER, failed_at=AFTER),
        S.WAITING,
    ),
    ("in doubt, then said to have failed", Traces(S.FAILED, BEFORE, 1, failed_at=AFTER), OPEN),
    ("it failed, nobody wrote when", Traces(S.FAILED, BEFORE, 6), OPEN),
    ("its last try was due afterwards", Traces(S.FAILED, AFTER, 6), S.WAITING),
    ("in doubt, nobody wrote since when", Traces(S.AMBIGUOUS, BEFORE, 1), OPEN),
    ("in doubt since a try of afterwards", Traces(S.AMBIGUOUS, AFTER, 1), S.WAITING),
    (
        "withdrawn with its link before",
        Traces(S.WITHDRAWN, BEFORE, link_ended_at=BEFORE),
        S.WITHDRAWN,
    ),
    ("withdrawn with its link, later", Traces(S.WITHDRAWN, BEFORE, link_ended_at=AFTER), S.WAITING),
    ("tried, withdrawn some time", Traces(S.WITHDRAWN, BEFORE, 1, link_ended_at=AFTER), OPEN),
    ("withdrawn, and it had no link", Traces(S.WITHDRAWN, BEFORE), OPEN),
    (
        "a person decided afterwards that it had gone out",
        Traces(S.SENT, BEFORE, 1, sent_at=AFTER, decided=(AFTER,)),
        OPEN,
    ),
    (
        "sent again by a person before, gone out after",
        Traces(S.SENT, BEFORE, 1, sent_at=AFTER, decided=(BEFORE,)),
        S.WAITING,
    ),
]


@pytest.mark.parametrize(("why", "now", "was"), ROWS, ids=[row[0] for row in ROWS])
def test_how_far_an_email_was(why: str, now: Traces, was: State) -> None:
    assert then(now, known_at=ASKED) == was, why
