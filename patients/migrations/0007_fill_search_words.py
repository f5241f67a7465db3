"""Patients who were enrolled before the search words existed are found by them too."""

from typing import Any

from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from patients.rules.search_words import day_word, mrn_words, name_words

AT_ONCE = 1000


def fill(apps: Any, schema_editor: BaseDatabaseSchemaEditor) -> None:
    patient_model = apps.get_model("patients", "Patient")
    name_model = apps.get_model("patients", "OtherName")
    word_model = apps.get_model("patients", "SearchWord")
    last = 0
    while some := list(patient_model.objects.filter(pk__gt=last).order_by("pk")[:AT_ONCE]):
        last = some[-1].pk
        found = set()
        for p in some:
            words = name_words(p.given_names, p.family_names) | mrn_words(p.mrn)
            words.add(day_word(p.birth_date))
            found |= {(p.merged_into_id or p.pk, word) for word in words}
        by_pk = {p.pk: p for p in some}
        for name in name_model.objects.filter(patient__in=by_pk, end__isnull=True):
            speaks = by_pk[name.patient_id].merged_into_id or name.patient_id
            found |= {(speaks, word) for word in name_words(name.given_names, name.family_names)}
        word_model.objects.bulk_create(
            [word_model(patient_id=pk, word=word) for pk, word in sorted(found)],
            batch_size=AT_ONCE,
            ignore_conflicts=True,
        )


class Migration(migrations.Migration):
    dependencies = [
        ("patients", "0006_search_words"),
    ]

    operations = [
        migrations.RunPython(fill, migrations.RunPython.noop, elidable=True),
    ]
