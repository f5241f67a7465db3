"""Patients’ questions: what is kept of one, how many a day, where one stands. No database."""

import pytest

from education.rules.asking import (
    MAX_QUESTION,
    MOST_A_DAY,
    Arrived,
    AskFault,
    Given,
    Means,
    Stand,
    may_ask,
    read_text,
    stand,
)

BY_EMAIL, BY_PHONE = Means.EMAIL, Means.PHONE


@pytest.mark.parametrize(
    "typed, kept",
    [
        ("May I walk?", "May I walk?"),
        ("  \n May I\r\nwalk? ", "May I\nwalk?"),
        ("", AskFault.EMPTY),
        (" \n\t ", AskFault.EMPTY),
        ("\x00\u202e", AskFault.EMPTY),  # nothing that anybody could read
        ("a\x00b", "ab"),
        ("no \u202edrink\u202c", "no drink"),  # fault 27: it would read as its opposite
        ("<b>5 < 7</b> & 'x'", "<b>5 < 7</b> & 'x'"),  # shown as its letters
        ("👩‍⚕️ ¿Puedo? أسبوع", "👩‍⚕️ ¿Puedo? أسبوع"),
        ("x" * MAX_QUESTION, "x" * MAX_QUESTION),
        ("\r\n" * 200 + "x" * (MAX_QUESTION - 200), "x" * (MAX_QUESTION - 200)),
        ("x" * (MAX_QUESTION + 1), AskFault.TOO_LONG),
        ("\x00" * 10_000, AskFault.TOO_LONG),  # the length is looked at first
    ],
)
def test_what_is_kept_of_a_text(typed: str, kept: str) -> None:
    assert read_text(typed) == kept


@pytest.mark.parametrize(
    "asked, refused",
    [(0, None), (MOST_A_DAY - 1, None), (MOST_A_DAY, AskFault.TOO_MANY), (99, AskFault.TOO_MANY)],
)
def test_how_many_a_day(asked: int, refused: AskFault | None) -> None:
    assert may_ask(asked) == refused


@pytest.mark.parametrize(
    "answers, expected",
    [
        ([], Stand.WAITS),
        ([Given(BY_EMAIL, Arrived.ON_ITS_WAY)], Stand.ANSWERED),
        ([Given(BY_EMAIL, Arrived.WENT_OUT)], Stand.ANSWERED),
        ([Given(BY_EMAIL, Arrived.UNSURE)], Stand.ANSWERED),  # on the mail page, to be decided
        ([Given(BY_EMAIL, Arrived.NO)], Stand.NOT_ARRIVED),
        ([Given(BY_EMAIL, Arrived.NO), Given(BY_PHONE)], Stand.ANSWERED),
        # The correction did not arrive: the patient still has the wrong answer.
        ([Given(BY_EMAIL, Arrived.WENT_OUT), Given(BY_EMAIL, Arrived.NO)], Stand.NOT_ARRIVED),
        ([Given(Means.NOT_NEEDED)], Stand.ANSWERED),
    ],
)
def test_where_a_question_stands(answers: list[Given], expected: Stand) -> None:
    assert stand(answers) == expected
