"""Patients who were enrolled before the look-up tables existed are found by them too."""

from typing import Any

from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from patients.rules.identity_keys import keys_of
from patients.rules.names import normal_name

AT_ONCE = 1000


def fill(apps: Any, schema_editor: BaseDatabaseSchemaEditor) -> None:
    patient_model = apps.get_model("patients", "Patient")
    name_model = apps.get_model("patients", "MatchName")
    key_model = apps.get_model("patients", "MatchKey")
    patients = list(patient_model.objects.filter(match_names__isnull=True).order_by("pk"))
    for start in range(0, len(patients), AT_ONCE):
        some = patients[start : start + AT_ONCE]
        forms = [normal_name(p.given_names, p.family_names) for p in some]
        names = name_model.objects.bulk_create(
            [
                name_model(
                    patient=p,
                    kind="current",
                    given=form.given,
                    family=form.family,
                    generation=form.generation,
                    birth_date=p.birth_date,
                )
                for p, form in zip(some, forms, strict=True)
            ]
        )
        key_model.objects.bulk_create(
            [
                key_model(name=name, key=key)
                for name, form, p in zip(names, forms, some, strict=True)
                for key in sorted(keys_of(form, p.birth_date))
            ],
            batch_size=AT_ONCE * 10,
        )


class Migration(migrations.Migration):

    dependencies = [
        ("patients", "0002_whose_is_it"),
    ]

    operations = [
        migrations.RunPython(fill, migrations.RunPython.noop, elidable=True),
    ]
