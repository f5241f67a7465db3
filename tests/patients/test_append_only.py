"""The database itself refuses to change or delete what carries a decision."""

from datetime import UTC, datetime

import pytest
from django.apps import apps
from django.db import DatabaseError, connection, models, transaction

from patients.append_only import tables
from patients.models import AppendOnly, Patient
from tests.factories import a_patient, a_programme

pytestmark = pytest.mark.django_db

# Everything that carries a decision or says what was known when.
DECISIONS = {
    "patients_programme",
    "patients_patientchange",
    "patients_operationchange",
    "patients_contact",
    "education_edition",
    "education_section",
    "education_question",
    "education_option",
    "education_requirement",
    "education_assignmentchange",
    "education_invitation",
    "education_invitationtoken",
    "education_invitationend",
    "education_submission",
    "education_submissionanswer",
    "education_identitydecision",
    "education_clearance",
    "education_revocation",
    "education_signoff",
    "education_waiver",
    "education_waiverrevocation",
}


def test_every_table_that_carries_a_decision_is_append_only() -> None:
    assert set(tables()) >= DECISIONS


def test_no_model_is_append_only_by_halves() -> None:
    """The base and the mark go together, or a table would be left out without a word."""
    for model in apps.get_models():
        assert issubclass(model, AppendOnly) is bool(getattr(model, "append_only", False)), model


def _values_of_a_row(model: type[models.Model]) -> dict[str, object]:
    """Something that fits each column, so that a row can be laid without its relations."""
    at = datetime(2026, 3, 2, tzinfo=UTC)
    made: dict[str, object] = {}
    for column in model._meta.concrete_fields:
        if column.primary_key:
            continue
        if column.null:
            made[column.column] = None
        elif isinstance(column, models.ForeignKey):
            made[column.column] = 1
        elif isinstance(column, models.DateTimeField):
            made[column.column] = at
        elif isinstance(column, models.DateField):
            made[column.column] = at.date()
        elif isinstance(column, models.JSONField):
            made[column.column] = "{}"
        elif isinstance(column, models.BooleanField):
            made[column.column] = True
        elif isinstance(column, models.SmallIntegerField | models.IntegerField):
            made[column.column] = 1
        else:
            made[column.column] = column.choices[0][0] if column.choices else "x"
    return made


def _lay_a_row(model: type[models.Model]) -> None:
    """Insert one row past the model, with foreign keys and checks out of the way."""
    made = _values_of_a_row(model)
    table = model._meta.db_table
    columns = ", ".join(f'"{name}"' for name in made)
    places = ", ".join(["%s"] * len(made))
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("PRAGMA ignore_check_constraints = ON")
            cursor.execute("PRAGMA defer_foreign_keys = ON")
        else:
            cursor.execute(
                "SELECT conname FROM pg_constraint WHERE conrelid = %s::regclass "
                "AND contype IN ('c', 'f')",
                [table],
            )
            for (name,) in cursor.fetchall():
                cursor.execute(f'ALTER TABLE "{table}" DROP CONSTRAINT "{name}"')
        cursor.execute(f'INSERT INTO "{table}" ({columns}) VALUES ({places})', list(made.values()))


MODELS = {m._meta.db_table: m for m in apps.get_models() if issubclass(m, AppendOnly)}


@pytest.mark.parametrize("statement", ['UPDATE "{0}" SET id = id', 'DELETE FROM "{0}"'])
@pytest.mark.parametrize("table", sorted(MODELS))
def test_raw_sql_is_refused(table: str, statement: str) -> None:
    with transaction.atomic():
        _lay_a_row(MODELS[table])
        with pytest.raises(DatabaseError, match="append only"), transaction.atomic():
            connection.cursor().execute(statement.format(table))
        with connection.cursor() as cursor:
            cursor.execute(f'SELECT count(*) FROM "{table}"')
            assert cursor.fetchone() == (1,)
        transaction.set_rollback(True)
    if connection.vendor == "sqlite":
        connection.cursor().execute("PRAGMA ignore_check_constraints = OFF")


def test_the_model_is_refused_too() -> None:
    settings = a_programme()
    settings.name = "Another name"
    with pytest.raises(DatabaseError, match="append only"), transaction.atomic():
        settings.save()
    with pytest.raises(DatabaseError, match="append only"), transaction.atomic():
        settings.delete()


def test_a_patient_cannot_be_deleted_while_anything_is_on_record() -> None:
    patient = a_patient()
    with pytest.raises(models.ProtectedError):
        patient.delete()
    assert Patient.objects.filter(pk=patient.pk).exists()
