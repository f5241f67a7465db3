from django.db import migrations, models
from django.db.models import Q, Value

KINDS = ["one", "several", "true_false", "number", "order", "match"]


class Migration(migrations.Migration):
    dependencies = [("education", "0007_plan_moves_and_ticks")]

    operations = [
        migrations.AddField(
            "attempt", "seed", models.CharField(db_default="", default="", max_length=40)
        ),
        migrations.AddField(
            "attempt", "turn", models.PositiveSmallIntegerField(db_default=0, default=0)
        ),
        migrations.AddField(
            "option",
            "match",
            models.JSONField(db_default=Value({}, models.JSONField()), default=dict),
        ),
        migrations.AddField(
            "section",
            "ask_yourself",
            models.JSONField(db_default=Value({}, models.JSONField()), default=dict),
        ),
        migrations.AddField(
            "question", "version", models.PositiveSmallIntegerField(db_default=1, default=1)
        ),
        migrations.AddField(
            "question", "shuffle", models.BooleanField(db_default=False, default=False)
        ),
        migrations.AlterModelOptions("question", {"ordering": ["position", "version"]}),
        migrations.AlterField(
            "question",
            "kind",
            models.CharField(choices=[(kind, kind) for kind in KINDS], max_length=12),
        ),
        migrations.RemoveConstraint("question", "question_position_once"),
        migrations.RemoveConstraint("question", "question_key_once"),
        migrations.RemoveConstraint("question", "question_kind_known"),
        migrations.AddConstraint(
            "question",
            models.UniqueConstraint(
                fields=("edition", "position", "version"), name="question_place_once"
            ),
        ),
        migrations.AddConstraint(
            "question",
            models.UniqueConstraint(
                fields=("edition", "key", "version"), name="question_version_once"
            ),
        ),
        migrations.AddConstraint(
            "question",
            models.CheckConstraint(condition=Q(version__gte=1), name="question_version_from_1"),
        ),
        migrations.AddConstraint(
            "question",
            models.CheckConstraint(condition=Q(kind__in=KINDS), name="question_kind_known"),
        ),
    ]
