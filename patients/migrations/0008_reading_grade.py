from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("patients", "0007_fill_search_words")]

    operations = [
        migrations.AddField(
            "programme",
            "reading_grade",
            models.PositiveSmallIntegerField(db_default=6, default=6),
        ),
    ]
