"""The page about a quiz: plain words first, few quizzes, filters in the address, the file."""

import csv
from collections import Counter
from dataclasses import replace
from io import StringIO

import pytest
from django.test import Client
from django.urls import reverse

from clinic import quiz_words
from clinic.models import Role
from clinic.quiz_chart import EASE, bars, chart
from education import quiz_measured
from education.models import Edition
from education.quiz_answers import Asked, Counted
from education.rules.item_statistics import Interval, Tally
from patients.clock import now
from patients.rules.csv_cells import restore
from tests.education.short_module import a_short_edition, short_module
from tests.factories import a_programme, an_edition, signed_in

pytestmark = pytest.mark.django_db

KINDS = """
code = "kinds"
pass_mark = 60
title.en = "Kinds"
[[section]]
key = "why"
heading.en = "Why"
body.en = "Small sips help."
[[section]]
key = "other"
heading.en = "Nobody asks"
body.en = "About this."
[[question]]
key = "order"
kind = "order"
safety_critical = false
section = "why"
stem.en = "Put them in order."
explanation.en = "So."
item = [
  {key = "one", text.en = "First", place = 1},
  {key = "two", text.en = "Second", place = 2},
  {key = "three", text.en = "Third", place = 3},
]
[[question]]
key = "match"
kind = "match"
safety_critical = false
section = "why"
stem.en = "Match them."
explanation.en = "So."
pair = [
  {key = "a", text.en = "Water", match.en = "sips"},
  {key = "b", text.en = "Meat", match.en = "chew"},
  {key = "c", text.en = "Pills", match.en = "ask"},
]
[[question]]
key = "number"
kind = "number"
safety_critical = true
section = "why"
stem.en = "=How much?"
explanation.en = "So."
unit.en = "oz"
answer = "64"
tolerance = "0"
"""


@pytest.fixture
def reader() -> Client:
    a_programme()
    return signed_in(Role.AUDITOR)


def _counted(edition: Edition, groups: dict[str, int]) -> Counted:
    """Return what would be counted: "110" is right, right, wrong; so many patients each."""
    tallies: dict[int, list[Tally]] = {}
    totals: Counter[int] = Counter()
    for pattern, count in groups.items():
        total = pattern.count("1")
        totals[total] += count
        for question, sign in zip(edition.questions.all(), pattern, strict=True):
            right = {True: [], False: []}  # type: dict[bool, list[str]]
            for option in question.options.all():
                right[option.right].append(str(option.pk))
            given = frozenset(right[sign == "1"][:1])
            tallies.setdefault(question.pk, []).append(Tally(total, sign == "1", given, count))
    return Counted(tallies, totals, retakes=2, undecided=1)


def _page(
    client: Client,
    edition: Edition,
    counted: Counted,
    monkeypatch: pytest.MonkeyPatch,
) -> str:
    monkeypatch.setattr(quiz_measured, "counted", lambda asked: counted)
    page = client.get(reverse("quiz-measured", args=[edition.module.code]))
    return page.content.decode()


def test_nobody_yet(reader: Client) -> None:
    edition = a_short_edition(at=now())
    page = reader.get(reverse("quiz-measured", args=[edition.module.code]))
    assert "Nobody has handed in this edition’s quiz yet." in page.content.decode()
    # What the pass mark can tell needs no quiz: 4 of 5, and the binomial table's .3370 and .7085.
    assert "passes in 34 of 100 quizzes, and with 3 tries in 71 of 100" in page.content.decode()


def test_few_quizzes_are_counted_and_nothing_is_said(
    reader: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    edition = a_short_edition(at=now(), text=short_module(questions=3))
    text = _page(reader, edition, _counted(edition, {"111": 20, "000": 9}), monkeypatch)
    assert "29 quizzes are too few to say whether this quiz measures anything" in text
    assert "2 retakes left out, 1 left out because nobody of ours" in text
    assert "Tells apart" not in text
    assert "KR-20 is" not in text
    assert "69 %" not in text  # 20 of 29


def test_what_is_wrong_comes_first_in_plain_words(
    reader: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    edition = a_short_edition(at=now(), text=short_module(questions=5))
    # The last question is answered wrong by those who know the rest.
    groups = {"11110": 40, "10001": 15, "01001": 15, "00101": 15, "00011": 15}
    text = _page(reader, edition, _counted(edition, groups), monkeypatch)
    assert "Read question 5 again first: it may not measure understanding." in text
    assert text.index("Question 5: the better a patient did") < text.index("<svg")
    assert "KR-20 is" in text
    assert "<title" in text
    assert "<desc" in text


def test_a_finding_of_one_version_names_the_version(
    reader: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = short_module(questions=2)
    first, second = text.questions
    edition = a_short_edition(
        at=now(), text=replace(text, questions=(replace(first, versions=(first,)), second))
    )
    one, two, other = (question.pk for question in edition.questions.all())
    none: frozenset[str] = frozenset()
    counted = Counted(
        {
            one: [Tally(2, True, none, 60), Tally(0, False, none, 40)],
            two: [Tally(1, True, none, 30), Tally(1, False, none, 30)],
            other: [Tally(2, True, none, 90), Tally(0, False, none, 70)],
        },
        Counter({2: 60, 1: 60, 0: 40}),
        retakes=0,
        undecided=0,
    )
    page = _page(reader, edition, counted, monkeypatch)
    assert "Question 1.2: the better a patient did" in page
    assert "Read question 1.2 again first" in page


def test_kinds_without_options_show_what_was_given(
    reader: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    edition = an_edition(KINDS)
    order, match, number = edition.questions.all()
    one, two, three = (option.pk for option in order.options.all())
    a, b, _ = (option.pk for option in match.options.all())
    counted = Counted(
        {
            order.pk: [Tally(2, False, frozenset({f"{two}>{one}>{three}"}), 40)],
            match.pk: [Tally(2, False, frozenset({f"{a}={b}", f"{b}={a}"}), 40)],
            number.pk: [
                Tally(2, True, frozenset({"64"}), 30),
                Tally(2, False, frozenset({"32"}), 10),
            ],
        },
        Counter({2: 40}),
        retakes=0,
        undecided=0,
    )
    text = _page(reader, edition, counted, monkeypatch)
    for words in (
        "Second, then First, then Third",
        "Water = chew",
        "64 oz",
        "32 oz",
        "Nobody asks",
    ):
        assert words in text, words
    assert "No question asks about it" in text


def test_the_file_has_a_row_for_each_answer_and_no_live_formula(
    reader: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    edition = an_edition(KINDS)
    number = edition.questions.get(key="number")
    counted = Counted(
        {number.pk: [Tally(1, True, frozenset({"64"}), 30), Tally(0, False, frozenset(), 10)]},
        Counter({1: 30, 0: 10}),
        retakes=0,
        undecided=0,
    )
    monkeypatch.setattr(quiz_measured, "counted", lambda asked: counted)
    response = reader.get(reverse("quiz-measured-csv", args=["kinds"]))
    lines = list(csv.DictReader(StringIO(response.content.decode("utf-8-sig"))))
    mine = [line for line in lines if line["key"] == "number"]
    assert [(m["given"], m["given_by"], m["given_is_right"]) for m in mine] == [
        ("64 oz", "30", "yes"),
        ("", "10", "no"),
    ]
    assert mine[0]["stem"] == "'=How much?"
    assert restore(mine[0]["stem"]) == "=How much?"
    assert mine[0]["share_right"] == "0.7500"
    assert [line["share_right"] for line in lines if line["key"] != "number"] == ["", ""]


@pytest.mark.parametrize(
    ("asked", "problem"),
    [
        ({"first_day": "soon"}, "Enter a valid date."),
        ({"first_day": "0001-01-01"}, "Give a day from"),
        ({"first_day": "2026-11-03", "last_day": "2026-11-02"}, "The last day is before the first"),
        ({"edition": "9"}, "Choose one of the list."),
        ({"language": "x" * 100_000}, "Choose one of the list."),
    ],
)
def test_what_cannot_be_read_is_said_beside_its_field(
    reader: Client, asked: dict[str, str], problem: str
) -> None:
    edition = a_short_edition(at=now())
    page = reader.get(reverse("quiz-measured", args=[edition.module.code]), asked)
    assert page.status_code == 400
    assert page.content.decode().count(problem) == 2  # in the summary, and at the field
    file = reader.get(reverse("quiz-measured-csv", args=[edition.module.code]), asked)
    assert file.status_code == 302


def test_days_are_the_programmes_and_both_count(
    reader: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    edition = a_short_edition(at=now())
    seen: list[Asked] = []

    def note(asked: Asked) -> Counted:
        seen.append(asked)
        return Counted({}, Counter(), 0, 0)

    monkeypatch.setattr(quiz_measured, "counted", note)
    days = {"first_day": "2026-11-01", "last_day": "2026-11-01", "tries": "every"}
    page = reader.get(reverse("quiz-measured", args=[edition.module.code]), days)
    asked = seen[0]
    assert asked.every_try
    # Chicago's clocks go back on that day: it lasts 25 hours.
    assert asked.since is not None
    assert asked.until is not None
    assert (asked.until - asked.since).total_seconds() == 25 * 3600
    assert "No quiz of this edition matches." in page.content.decode()


def test_drawings_keep_to_their_panels() -> None:
    rows = chart([("1", 1.0, Interval(0.9, 1.0), -0.9, Interval(-1.0, -0.7), True)]).rows
    assert rows[0].ease is not None
    assert rows[0].tells is not None
    assert rows[0].ease.at == EASE[1]
    assert rows[0].tells.at == rows[0].tells.low  # below what is drawn: at the edge
    drawn = bars({0: 1, 5: 1000}, questions=5, needed=4)
    assert drawn.bars[0].height == 1  # one quiz is not nothing
    assert drawn.needed_x == pytest.approx(100 * 4 / 6, abs=0.01)


@pytest.mark.parametrize(
    ("share", "words"),
    [(1.0, "100 %"), (0.999, "over 99 %"), (0.001, "under 1 %"), (0.0, "0 %"), (0.5, "50 %")],
)
def test_nearly_all_is_not_all(share: float, words: str) -> None:
    assert quiz_words.per_cent(share) == words
