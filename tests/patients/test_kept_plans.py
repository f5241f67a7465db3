"""A statement whose plan is kept says what a cursor's would: in a transaction, after errors, later.

Here only PostgreSQL keeps plans; SQLite runs the same tests through its cursors.
"""

import threading
from collections.abc import Iterator
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.db import DataError, OperationalError, connection, connections, transaction
from django.db.transaction import TransactionManagementError
from django.db.utils import ProgrammingError
from django.test.utils import CaptureQueriesContext
from psycopg import IsolationLevel

from patients.kept_plans import MOST_KEPT, made_ready, rows_of, rows_written
from patients.models import Patient
from tests.factories import a_patient
from tests.which_database import ON_POSTGRES

only_on_postgres = pytest.mark.skipif(not ON_POSTGRES, reason="SQLite keeps no plans")
pytestmark = pytest.mark.django_db


def places(statement: str) -> str:
    """The statement with its places as the database writes them."""
    if ON_POSTGRES:
        return statement
    for number in (1, 2, 3):
        statement = statement.replace(f"${number}", "%s")
    return statement


MRN = places("SELECT mrn FROM patients_patient WHERE family_names = $1 ORDER BY mrn")
CALLED = places("UPDATE patients_patient SET phone = $1 WHERE mrn = $2")


def mrns(family: str) -> list[str]:
    return [mrn for (mrn,) in rows_of(connection, MRN, [family])]


def kept() -> list[str]:
    """The statements whose plans the server keeps for this connection."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT statement FROM pg_prepared_statements")
        return [statement for (statement,) in cursor.fetchall()]


VALUES: dict[str, list[Any]] = {
    "text": ["Okafor", "O'Neill \\ $1 %s", "", "ñ 李", None],
    "integer": [0, -1, 70_000, 2**31 - 1, None],
    "bigint": [2**40, 1, 70_000],
    "bigint[]": ["{1,2,3}", "{}", [1, 70_000, 2**40]],
    "boolean": [True, False, None],
    "numeric": [Decimal("12.50"), Decimal("-0.001"), 3],
    "date": [date(2028, 2, 29), date(1, 1, 1)],
    "timestamptz": [datetime(2026, 3, 29, 1, 59, 59, 999_999, tzinfo=UTC)],
    "bytea": [b"\x00\xff"],
}


@only_on_postgres
def test_values_and_rows_are_what_a_cursor_gives() -> None:
    """One after another: the server keeps a plan for each type in which a value can go over."""
    asked = [(f"SELECT $1::{kind}, 1", value) for kind, some in VALUES.items() for value in some]
    with CaptureQueriesContext(connection) as told:  # somebody looks on: the driver's cursor
        by_cursor = [rows_of(connection, statement, [value]) for statement, value in asked]
    assert len(told) == len(asked)
    at_once = [rows_of(connection, statement, [value]) for statement, value in asked]
    assert at_once == by_cursor
    assert [type(rows[0][0]) for rows in at_once] == [type(rows[0][0]) for rows in by_cursor]


def test_whoever_captures_queries_is_told_of_each() -> None:
    a_patient(mrn="1", family_names="Okafor")
    with CaptureQueriesContext(connection) as told:
        assert mrns("Okafor") == ["1"]
        assert rows_written(connection, CALLED, ["312-555-0100", "1"]) == 1
    assert [query["sql"].split()[0] for query in told] == ["SELECT", "UPDATE"]
    seen: list[str] = []

    def look_on(run: Any, statement: str, *rest: Any) -> Any:
        seen.append(statement)
        return run(statement, *rest)

    with connection.execute_wrapper(look_on):
        assert mrns("Okafor") == ["1"]
    assert seen == [MRN]


@pytest.mark.django_db(transaction=True)
def test_what_is_written_in_a_transaction_goes_with_it() -> None:
    """Also when it is the first that the transaction sends."""
    a_patient(mrn="1", family_names="Okafor", phone="")
    with transaction.atomic():
        assert rows_written(connection, CALLED, ["312-555-0100", "1"]) == 1
        transaction.set_rollback(True)
    assert Patient.objects.get(mrn="1").phone == ""
    with transaction.atomic():
        assert rows_written(connection, CALLED, ["312-555-0100", "1"]) == 1
    assert rows_written(connection, CALLED, ["312-555-0100", "nobody"]) == 0
    assert Patient.objects.get(mrn="1").phone == "312-555-0100"


@only_on_postgres
@pytest.mark.django_db(transaction=True)
def test_a_transaction_begins_as_the_driver_begins_it() -> None:
    """Repeatable reads, if that is set: what others commit meanwhile is seen after it."""
    a_patient(mrn="1", family_names="Okafor")
    server = connection.connection
    before = server.isolation_level
    try:
        server.isolation_level = IsolationLevel.REPEATABLE_READ
        with transaction.atomic():
            assert mrns("Okafor") == ["1"]
            other = threading.Thread(target=_add_another)
            other.start()
            other.join()
            assert mrns("Okafor") == ["1"]
    finally:
        server.isolation_level = before
    assert mrns("Okafor") == ["1", "2"]


def _add_another() -> None:
    try:
        a_patient(mrn="2", family_names="Okafor")
    finally:
        connections.close_all()


def test_an_error_is_djangos_and_what_follows_runs() -> None:
    a_patient(mrn="1", family_names="Okafor")
    with pytest.raises((ProgrammingError, OperationalError)), transaction.atomic():
        rows_of(connection, "SELECT nothing_of_the_kind FROM patients_patient", [])
    assert mrns("Okafor") == ["1"]
    if ON_POSTGRES:
        with pytest.raises(DataError), transaction.atomic():
            rows_of(connection, "SELECT 1 / $1::integer", [0])
        with pytest.raises(DataError), transaction.atomic():
            rows_of(connection, MRN, ["\x00"])
    assert mrns("Okafor") == ["1"]


def test_nothing_runs_in_a_transaction_that_has_to_be_rolled_back() -> None:
    with transaction.atomic():
        transaction.set_rollback(True)
        with pytest.raises(TransactionManagementError):
            mrns("Okafor")
        with pytest.raises(TransactionManagementError):
            rows_written(connection, CALLED, ["", "1"])


@only_on_postgres
def test_a_plan_is_made_once_and_outlives_what_is_rolled_back() -> None:
    mrns("Okafor")
    with transaction.atomic():
        a_patient(mrn="1", family_names="Okafor")
        assert mrns("Okafor") == ["1"]
        transaction.set_rollback(True)
    assert mrns("Okafor") == []
    assert kept().count(MRN) == 1


@only_on_postgres
def test_a_connection_keeps_no_more_than_so_many() -> None:
    for number in range(MOST_KEPT + 20):
        assert rows_of(connection, f"SELECT {number}", []) == [(number,)]
    statements = kept()
    assert len(statements) == MOST_KEPT
    assert "SELECT 19" not in statements
    assert rows_of(connection, "SELECT 19", []) == [(19,)]
    assert f"SELECT {MOST_KEPT + 19}" in kept()


@pytest.fixture
def by_itself() -> Iterator[None]:
    """A connection that another one may end."""
    yield
    connection.close()


@only_on_postgres
@pytest.mark.django_db(transaction=True)
def test_a_connection_that_the_server_ended_is_replaced_by_the_next(by_itself: None) -> None:
    mrns("Okafor")
    number = connection.connection.info.backend_pid

    def end() -> None:
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_terminate_backend(%s, 1000)", [number])
        connections.close_all()

    ending = threading.Thread(target=end)
    ending.start()
    ending.join()
    with pytest.raises(OperationalError):
        mrns("Okafor")
    connection.close_if_unusable_or_obsolete()
    assert mrns("Okafor") == []
    assert connection.connection.info.backend_pid != number


@only_on_postgres
@pytest.mark.django_db(transaction=True)
def test_every_new_connection_keeps_plans_from_its_start(by_itself: None) -> None:
    """A setting that is made in a transaction would go when that is rolled back."""
    connection.close()
    with transaction.atomic():
        mrns("Okafor")
        transaction.set_rollback(True)
    assert rows_of(connection, "SHOW plan_cache_mode", []) == [("force_generic_plan",)]
    made_ready(connection)
    assert kept().count(MRN) == 1
