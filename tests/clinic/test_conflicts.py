"""Transactions that get in each other's way (fault 21), and a database that lets read only (19).

What PostgreSQL answers then: its manual, "Serialization Failure Handling" and appendix A.
"""

import threading
from collections.abc import Iterator
from contextlib import contextmanager

import psycopg
import pytest
from django.db import InternalError, OperationalError, connection, transaction
from django.http import HttpRequest, HttpResponse
from django.test import Client, override_settings
from django.urls import path

from clinic.models import Role, TaskTally
from education.models import Submission
from patients import conflicts
from patients.open_to import ANYONE, open_to
from tests.education.phone import Phone
from tests.factories import a_member, a_programme, an_invitation
from tests.which_database import ON_POSTGRES

only_on_postgres = pytest.mark.skipif(not ON_POSTGRES, reason="SQLite has one writer, who waits")
both_hold_one = threading.Barrier(2)


@open_to(ANYONE)
def crossing(request: HttpRequest, first: str, second: str) -> HttpResponse:
    """Take two rows; together with another request that takes them the other way round."""
    with transaction.atomic():
        for n, task in enumerate((first, second)):
            TaskTally.objects.select_for_update().get(task=task)
            if n == 0 and not both_hold_one.broken and "waited" not in request.META:
                request.META["waited"] = "yes"
                both_hold_one.wait(5)
        TaskTally.objects.filter(task__in=(first, second)).update(runs=1)
    return HttpResponse(status=204)


@open_to(ANYONE)
def loses(request: HttpRequest, times: int) -> HttpResponse:
    """Lose so many times."""
    request.META["lost"] = request.META.get("lost", 0) + 1
    if request.META["lost"] <= times:
        raise OperationalError from psycopg.errors.SerializationFailure()
    return HttpResponse(str(request.META["lost"]))


urlpatterns = [
    path("crossing/<slug:first>/<slug:second>/", crossing),
    path("loses/<int:times>/", loses),
]
handler500 = "clinic.failures.server_error"


@pytest.mark.django_db(transaction=True)
@only_on_postgres
@override_settings(ROOT_URLCONF=__name__)
def test_fault_21_two_requests_in_a_deadlock_both_succeed() -> None:
    TaskTally.objects.create(task="a")
    TaskTally.objects.create(task="b")
    answers: list[int] = []

    def ask(address: str) -> None:
        answers.append(Client(raise_request_exception=False).get(address).status_code)
        connection.close()

    threads = [threading.Thread(target=ask, args=(f"/crossing/{way}/",)) for way in ("a/b", "b/a")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert answers == [204, 204]


@override_settings(ROOT_URLCONF=__name__)
@pytest.mark.parametrize("times, status", [(0, 200), (2, 200), (3, 503)])
def test_fault_21_it_is_tried_three_times_in_all(
    times: int, status: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(conflicts, "LONGEST_PAUSE", 0.01)
    monkeypatch.setattr(transaction, "get_connection", lambda: _Outside)
    answer = Client(raise_request_exception=False).get(f"/loses/{times}/")
    assert answer.status_code == status
    assert status == 503 or answer.content == str(times + 1).encode()


class _Outside:
    in_atomic_block = False


@contextmanager
def reading_only() -> Iterator[None]:
    """What a database does that became a standby, or was set to."""
    if connection.vendor == "sqlite":
        on, off = "PRAGMA query_only = 1", "PRAGMA query_only = 0"
    else:
        on = "SET SESSION CHARACTERISTICS AS TRANSACTION READ ONLY"
        off = "SET SESSION CHARACTERISTICS AS TRANSACTION READ WRITE"
    with connection.cursor() as cursor:
        cursor.execute(on)
        try:
            yield
        finally:
            cursor.execute(off)


@pytest.mark.django_db(transaction=True)
def test_fault_19_a_database_that_lets_read_only_loses_nothing_and_is_said() -> None:
    a_programme()
    a_member(Role.DIETITIAN)
    phone = Phone(*an_invitation())
    phone.begin()
    phone.answer_all()
    phone.type_name()
    with reading_only():
        answer = phone.hand_in()
    assert answer.status_code == 503
    assert "This was not saved." in answer.content.decode()
    assert not Submission.objects.exists()
    assert phone.hand_in()["Location"].endswith("/result/")


@pytest.mark.parametrize(
    "refused", [InternalError, OperationalError], ids=["read only", "disk full"]
)
@override_settings(ROOT_URLCONF=__name__)
def test_fault_19_staff_are_told_plainly(
    refused: type[Exception], monkeypatch: pytest.MonkeyPatch
) -> None:
    """psycopg: ReadOnlySqlTransaction is an InternalError, DiskFull an OperationalError."""
    assert issubclass(psycopg.errors.ReadOnlySqlTransaction, psycopg.InternalError)
    assert issubclass(psycopg.errors.DiskFull, psycopg.OperationalError)

    def fails(*args: object) -> HttpResponse:
        raise refused

    monkeypatch.setattr("clinic.conflicts.TryAgain.process_view", fails)
    assert Client(raise_request_exception=False).get("/loses/0/").status_code == 503
