"""Queries that are built once give what the query itself would, also after a migration."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import IntegrityError, connection, models, transaction
from django.db.models import CharField, QuerySet

from patients.models import Patient, SearchWord
from patients.prepared import Given, GivenIds, change, new_row, prepared, read
from tests.factories import a_patient

built = 0


@prepared
def named() -> QuerySet[Patient]:
    global built
    built += 1
    asked = Patient.objects.filter(
        models.Q(pk__among=GivenIds("ids")) | models.Q(merged_into__among=GivenIds("ids")),
        family_names=Given("family", CharField()),
        mrn__contains="%",  # a sign that both the statement and its places are written with
    )
    return asked.select_related("merged_into").order_by("pk")


@pytest.mark.django_db
def test_runs_anew_with_other_values_and_is_built_once() -> None:
    ada, ben, cy = (
        a_patient(mrn=f"{n}%", family_names=name)
        for n, name in enumerate(("Okafor", "Okafor", "O'Neill \\ $1"))
    )
    Patient.objects.filter(pk=ben.pk).update(merged_into=cy)
    before = built
    assert named(ids=[ada.pk, cy.pk], family="Okafor") == [ada, ben]
    assert named(ids=[cy.pk], family="Okafor")[0].merged_into == cy
    assert named(ids=[cy.pk], family=cy.family_names) == [cy]
    assert named(ids=[], family="Okafor") == []
    assert named.first(ids=[ada.pk], family="nobody") is None
    assert built - before <= 1  # none, when another test came first
    found = named(ids=[ada.pk], family="Okafor")[0]
    assert found.birth_date == ada.birth_date
    assert found.recorded_at == ada.recorded_at > datetime(2000, 1, 1, tzinfo=UTC)


@pytest.mark.django_db
def test_reads_the_records_that_the_query_would() -> None:
    cy = a_patient(mrn="3", family_names="Quill")
    ada, ben = (a_patient(mrn=mrn, family_names="Okafor") for mrn in "12")
    Patient.objects.exclude(pk=cy.pk).update(merged_into=cy)
    asked = Patient.objects.select_related("merged_into").order_by("mrn")
    found, by_django = read(asked), list(asked)
    assert found == by_django == [ada, ben, cy]
    for one, other in zip(found, by_django, strict=True):
        fields = [field.attname for field in Patient._meta.concrete_fields]
        assert [getattr(one, name) for name in fields] == [getattr(other, name) for name in fields]
        assert (one._state.db, one._state.adding) == (other._state.db, False)
    assert found[0].merged_into is found[1].merged_into  # made once
    assert found[0].merged_into == cy
    assert found[2].merged_into is None
    left_out = read(Patient.objects.only("mrn").order_by("mrn"))[0]
    assert left_out.family_names == "Okafor"  # fetched when it is asked for
    assert read(Patient.objects.all()[:0]) == []
    found[0].phone = "312 555 0142"
    found[0].save()
    assert Patient.objects.get(pk=ada.pk).phone == "312 555 0142"


@pytest.mark.django_db(transaction=True)
def test_outlives_a_migration_that_widens_a_column() -> None:
    """PostgreSQL refuses a kept plan whose columns changed (its manual, PREPARE)."""
    ada = a_patient(mrn="1%", family_names="Okafor")
    assert named(ids=[ada.pk], family="Okafor") == [ada]
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT count(*) FROM pg_prepared_statements "
                "WHERE statement LIKE '%merged_into%LIKE%'"
            )
            assert cursor.fetchone()[0] == 1
        with widened(cursor):
            assert named(ids=[ada.pk], family="Okafor") == [ada]


called = change(
    lambda: Patient.objects.filter(pk=Given("pk", models.BigIntegerField()), phone="312-555-0100"),
    phone=Given("phone", CharField()),
    email="",
)
keyed = new_row(
    SearchWord,
    patient=Given("whose", models.BigIntegerField()),
    word=Given("word", CharField()),
)


@pytest.mark.django_db
def test_a_change_is_made_where_its_condition_holds_and_said_how_often() -> None:
    ada, ben = (a_patient(mrn=mrn, phone="312-555-0100", email="a@b.example") for mrn in "12")
    assert called(pk=ada.pk, phone="'; -- 100% $1") == 1
    assert called(pk=ada.pk, phone="312-555-0199") == 0
    ada.refresh_from_db()
    ben.refresh_from_db()
    assert (ada.phone, ada.email) == ("'; -- 100% $1", "")
    assert (ben.phone, ben.email) == ("312-555-0100", "a@b.example")


@pytest.mark.django_db
def test_a_row_is_added_and_what_the_table_refuses_is_refused() -> None:
    ada = a_patient(mrn="1")
    assert keyed(whose=ada.pk, word="100% $1") == 1
    assert SearchWord.objects.get(word="100% $1").patient == ada
    with pytest.raises(IntegrityError), transaction.atomic():
        keyed(whose=ada.pk, word="100% $1")
    assert keyed(whose=ada.pk, word="once more") == 1


@contextmanager
def widened(cursor: Any) -> Iterator[None]:
    """A column of another width; SQLite has none, so there a column more."""
    there, back = (
        ("ALTER phone TYPE varchar(41)", "ALTER phone TYPE varchar(40)")
        if connection.vendor == "postgresql"
        else ("ADD COLUMN extra text", "DROP COLUMN extra")
    )
    cursor.execute(f"ALTER TABLE patients_patient {there}")
    try:
        yield
    finally:
        cursor.execute(f"ALTER TABLE patients_patient {back}")
