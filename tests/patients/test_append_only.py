"""The database itself refuses to change or delete what carries a decision."""

from datetime import UTC, datetime
from typing import Any

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
    "patients_contactcorrection",
    "patients_othername",
    "patients_othernameend",
    "patients_keptapart",
    "patients_keptapartend",
    "patients_merge",
    "patients_mergeundone",
    "patients_operationmoved",
    "patients_schedulereading",
    "patients_intakemessage",
    "patients_intakestep",
    "education_edition",
    "education_teachingfile",
    "education_editionsign",
    "education_moduledraft",
    "education_draftsave",
    "education_draftreview",
    "education_draftend",
    "education_modulearchiving",
    "education_section",
    "education_question",
    "education_option",
    "education_requirement",
    "education_assignmentchange",
    "education_invitation",
    "education_invitationtoken",
    "education_invitationend",
    "education_quizcode",
    "education_submission",
    "education_submissionanswer",
    "education_identitydecision",
    "education_submissionnote",
    "education_clearance",
    "education_revocation",
    "education_signoff",
    "education_signoffrevocation",
    "education_secondopinion",
    "education_waiver",
    "education_waiverrevocation",
    "education_teachback",
    "education_teachbackpoint",
    "education_escalation",
    "education_escalationend",
    "education_receivedmail",
    "education_receivedsettled",
    "education_deliveryevent",
    "education_addressmark",
    "education_addressmarkend",
    "education_patientquestion",
    "education_questionanswer",
    "education_answerlink",
    "education_answerlinktoken",
    "education_answerlinkend",
    "education_oftenasked",
    "education_oftenaskedwords",
    "education_stagetable",
    "education_stagetablesign",
    "education_eatingfacts",
    "education_eatingsignedfor",
    "education_eatingsetaside",
    "education_eatingchoices",
    "education_eatingplangiven",
    "education_planlink",
    "education_planlinktoken",
    "education_planlinkend",
    "education_planfeed",
    "education_planfeedend",
    "education_plandatetold",
    "education_mailrules",
    "education_mailhold",
    "education_maildecision",
    "education_emailtext",
    "education_reminder",
    "clinic_digesthour",
}


def test_every_table_that_carries_a_decision_is_append_only() -> None:
    assert set(tables()) >= DECISIONS


def test_no_model_is_append_only_by_halves() -> None:
    """The base and the mark go together, or a table would be left out without a word."""
    for model in apps.get_models():
        assert issubclass(model, AppendOnly) is bool(getattr(model, "append_only", False)), model


def _fitting(column: "models.Field[Any, Any]", at: datetime) -> Any:
    """Something that fits a column, so that a row can be laid without its relations."""
    if column.null:
        return None
    if column.choices:
        return next(iter(column.flatchoices))[0]
    for kind, value in (
        (models.ForeignKey, 1),
        (models.DateTimeField, at),
        (models.DateField, at.date()),
        (models.JSONField, "{}"),
        (models.BooleanField, True),
        (models.IntegerField, 1),
        (models.DecimalField, 1),
        (models.TimeField, "22:00"),
        (models.UUIDField, "00000000-0000-4000-8000-000000000000"),
    ):
        if isinstance(column, kind):
            return value
    return "x"


def _lay_a_row(model: type[models.Model]) -> None:
    """Insert one row past the model, with foreign keys and checks out of the way."""
    at = datetime(2026, 3, 2, tzinfo=UTC)
    made = {
        str(column.column): _fitting(column, at)
        for column in model._meta.concrete_fields
        if not column.primary_key
    }
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
