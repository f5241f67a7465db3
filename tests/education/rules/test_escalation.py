"""When the surgeon's office is asked to help, and when no longer: tables, a reason on each row.

That it takes two messages is the programme's own setting, not a standard's.
"""

from datetime import UTC, datetime, timedelta

import pytest

from education.rules.escalation import Case, EscalationEnded, Tried, ended, to_be_escalated

START = datetime(2026, 3, 2, 15, tzinfo=UTC)


def day(number: int) -> datetime:
    return START + timedelta(days=number)


def tries(kinds: str) -> tuple[Tried, ...]:
    """One a day from day 1: m a message, r reached, n neither."""
    return tuple(
        Tried(day(number), reached=kind == "r", left_a_message=kind == "m")
        for number, kind in enumerate(kinds, start=1)
    )


WAITING = day(0)
HANDED_IN = day(2) + timedelta(hours=1)
# tries, waiting since, cleared at, asked to help, why
ASKED = [
    ("m", WAITING, None, False, "one message may be answered"),
    ("mm", WAITING, None, True, "two messages without an answer"),
    ("mnm", WAITING, None, True, "a call that nobody took is no answer"),
    ("nnnn", WAITING, None, False, "and no message"),
    ("mrm", WAITING, None, False, "they spoke in between"),
    ("mrmm", WAITING, None, True, "two since they spoke"),
    ("mm", day(2), None, False, "the first was about something else"),
    ("mm", None, None, False, "nothing waits for the patient"),
    ("mm", WAITING, day(1) + timedelta(hours=1), False, "a passed quiz is an answer"),
]


@pytest.mark.parametrize("kinds, since, cleared, asked, why", ASKED, ids=[r[4] for r in ASKED])
def test_help_is_asked(
    kinds: str, since: datetime | None, cleared: datetime | None, asked: bool, why: str
) -> None:
    case = Case(tries(kinds), since, cleared)
    # A quiz that was handed in is an answer as a clearance is, passed or not.
    assert (
        to_be_escalated(Case(tries(kinds), since, None, cleared), messages=2, wanted=True) == asked
    )
    assert to_be_escalated(case, messages=2, wanted=True) == asked
    assert not to_be_escalated(case, messages=2, wanted=False)


def test_how_many_it_takes_is_the_programmes_to_say_and_it_is_asked_once() -> None:
    assert not to_be_escalated(Case(tries("mm"), WAITING), messages=3, wanted=True)
    assert to_be_escalated(Case(tries("m"), WAITING), messages=1, wanted=True)
    running = Case(tries("mmm"), WAITING, escalated_at=day(2))
    assert not to_be_escalated(running, messages=2, wanted=True)


E = EscalationEnded
# tries, waiting since, cleared at, a contact was corrected, ended because, why
ENDED = [
    ("mm", WAITING, None, False, None, "nothing happened since"),
    ("mmn", WAITING, None, False, None, "they tried again"),
    ("mmr", WAITING, None, False, E.REACHED, "reached"),
    ("rmm", WAITING, None, False, None, "that was before"),
    ("mr", WAITING, None, True, E.REACHED, "the second message was none: they spoke"),
    ("mm", WAITING, day(3), False, E.CLEARED, "cleared"),
    ("mm", WAITING, day(-9), False, None, "an old clearance"),
    ("mm", None, None, False, E.NOT_WAITING, "cancelled, waived, or moved into the future"),
    ("mn", WAITING, None, True, E.CORRECTED, "the second message was none"),
    ("mm", WAITING, None, True, None, "another contact was corrected"),
]


@pytest.mark.parametrize(
    "kinds, since, cleared, corrected, because, why", ENDED, ids=[r[5] for r in ENDED]
)
def test_help_ends(
    kinds: str,
    since: datetime | None,
    cleared: datetime | None,
    corrected: bool,
    because: EscalationEnded | None,
    why: str,
) -> None:
    case = Case(tries(kinds), since, cleared, escalated_at=day(2))
    assert ended(case, messages=2, corrected=corrected) == because


def test_a_quiz_that_was_handed_in_ends_it_and_messages_after_it_count_anew() -> None:
    """Whoever tried and failed has the message: what follows is a teach-back, not a search."""
    running = Case(tries("mm"), WAITING, handed_in_at=HANDED_IN, escalated_at=day(2))
    assert ended(running, messages=2) == E.HANDED_IN
    before = Case(tries("mm"), WAITING, handed_in_at=day(1), escalated_at=day(2))
    assert ended(before, messages=2) is None
    again = Case(tries("mmm"), WAITING, handed_in_at=HANDED_IN)
    assert not to_be_escalated(again, messages=2, wanted=True)
    again = Case(tries("mmmm"), WAITING, handed_in_at=HANDED_IN)
    assert to_be_escalated(again, messages=2, wanted=True)


def test_what_was_never_asked_does_not_end() -> None:
    assert ended(Case(tries("mr"), WAITING), messages=2) is None
