"""Which quizzes are counted, and what is counted of them."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from education.given import to_json
from education.models import Edition
from education.quiz_answers import Asked, choices_of, counted
from education.quiz_measured import measured
from education.rules.missed import Reading
from education.rules.pass_mark import Quiz
from education.rules.scoring import Given
from patients.merge import merge
from patients.models import Patient
from tests.education.short_module import a_short_edition, short_module, take
from tests.factories import (
    a_member,
    a_patient,
    a_programme,
    an_assignment,
    an_invitation,
    an_operation,
)

pytestmark = pytest.mark.django_db

AT = datetime(2026, 11, 2, 15, 0, tzinfo=UTC)


@pytest.fixture
def edition() -> Edition:
    a_programme(at=AT)
    return a_short_edition(at=AT, text=short_module(questions=3, pass_mark=60, critical=(0,)))


def _take(
    edition: Edition, *patterns: str, days: int = 0, patient: Patient | None = None
) -> Patient:
    """A patient takes the quiz, once for each pattern, a minute apart."""
    at = AT + timedelta(days=days)
    patient = patient or a_patient(at=at)
    assignment = an_assignment(
        operation=an_operation(patient=patient, at=at), module=edition.module, at=at
    )
    for minute, pattern in enumerate(patterns):
        invitation, _ = an_invitation(assignment=assignment, at=at + timedelta(minutes=minute))
        take(invitation, pattern, at=at + timedelta(minutes=minute))
    return patient


def test_first_tries_of_distinct_patients_are_counted(edition: Edition) -> None:
    _take(edition, "000", "111")
    _take(edition, "110")
    found = counted(Asked(edition))
    assert (found.totals, found.retakes, found.undecided) == ({0: 1, 2: 1}, 1, 0)
    every = counted(Asked(edition, every_try=True))
    assert (every.totals, every.retakes) == ({0: 1, 2: 1, 3: 1}, 0)


def test_a_try_after_one_of_an_earlier_edition_is_no_first_one(edition: Edition) -> None:
    patient = _take(edition, "000")
    later = a_short_edition(at=AT, text=short_module(questions=3, pass_mark=60))
    _take(later, "111", days=1, patient=patient)
    _take(later, "101", days=1)
    assert counted(Asked(later)).totals == {2: 1}
    assert counted(Asked(edition)).totals == {0: 1}


def test_a_merged_record_is_the_same_patient(edition: Edition) -> None:
    one, two = _take(edition, "000"), _take(edition, "111", days=1)
    merge(two, one, reason="one", at=AT + timedelta(days=2), by_id=a_member("dietitian").pk)
    found = counted(Asked(edition))
    assert (found.totals, found.retakes) == ({0: 1}, 1)


def test_a_quiz_that_is_not_decided_is_left_out_and_said_so(edition: Edition) -> None:
    patient = a_patient(at=AT)
    assignment = an_assignment(
        operation=an_operation(patient=patient, at=AT), module=edition.module, at=AT
    )
    invitation, _ = an_invitation(assignment=assignment, at=AT)
    take(invitation, "111", at=AT, given_names="Somebody")
    found = counted(Asked(edition))
    assert (found.quizzes, found.undecided) == (0, 1)


def test_language_and_days_choose_quizzes_but_not_who_was_first(edition: Edition) -> None:
    patient = _take(edition, "000")
    _take(edition, "111", days=5, patient=patient)
    since = Asked(edition, since=AT + timedelta(days=3))
    assert (counted(since).quizzes, counted(since).retakes) == (0, 1)
    assert counted(Asked(edition, until=AT + timedelta(days=3))).quizzes == 1
    assert counted(Asked(edition, language="es")).quizzes == 0
    assert counted(Asked(edition, language="en")).quizzes == 1


def test_figures_of_each_question_and_of_the_whole(edition: Edition) -> None:
    for pattern in ("111", "110", "100", "-00"):
        _take(edition, pattern)
    result = measured(Asked(edition))
    assert [q.figures.right for q in result.questions] == [3, 2, 1]
    assert [q.figures.answered for q in result.questions] == [4, 4, 4]
    first = result.questions[0].versions[0]
    assert [c.count for c in first.figures.choices] == [3, 0]  # one gave no answer at all
    # A perfect Guttman scale of three items: p = .75 .5 .25, variance of totals 1.25.
    assert result.reliability == pytest.approx(1.5 * (1 - (0.1875 + 0.25 + 0.1875) / 1.25))
    assert result.quiz == Quiz(3, 60, must_be_right=1)
    assert [s.missed.reading for s in result.sections] == [Reading.TOO_FEW]
    assert not result.enough
    assert all(not v.findings for q in result.questions for v in q.versions)


def test_queries_do_not_grow_with_the_quizzes(edition: Edition) -> None:
    numbers = []
    for count in (1, 3):
        for _ in range(count):
            _take(edition, "110")
        with CaptureQueriesContext(connection) as queries:
            measured(Asked(edition))
        numbers.append(len(queries))
    assert numbers[0] == numbers[1]


@pytest.mark.parametrize(
    ("given", "names"),
    [
        (Given(options=frozenset({7, 3})), {"3", "7"}),
        (Given(number=Decimal("64.0")), {"64"}),
        (Given(number=Decimal("100")), {"100"}),
        (Given(order=(3, 1, 2)), {"3>1>2"}),
        (Given(pairs=frozenset({(1, 1), (2, 3)})), {"1=1", "2=3"}),
        (None, set()),
    ],
)
def test_what_was_given_has_a_name(given: Given | None, names: set[str]) -> None:
    assert choices_of(to_json(given) if given else None) == names
