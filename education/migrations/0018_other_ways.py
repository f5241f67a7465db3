import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models
from django.db.models import Q

WAYS = ["link", "paper", "kiosk", "phone"]
BECAUSE = ["replaced", "withdrawn", "readdressed", "done"]


class Migration(migrations.Migration):
    dependencies = [
        ("education", "0017_daily_run_set_aside"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            "invitation",
            "way",
            models.CharField(
                choices=[(way, way) for way in WAYS],
                db_default="link",
                default="link",
                max_length=8,
            ),
        ),
        migrations.AlterField(
            "invitation", "address", models.EmailField(blank=True, max_length=254)
        ),
        migrations.AddConstraint(
            "invitation",
            models.CheckConstraint(condition=Q(way__in=WAYS), name="invitation_way_known"),
        ),
        migrations.AddConstraint(
            "invitation",
            models.CheckConstraint(
                condition=Q(way="link") | Q(address="", by__isnull=False),
                name="invitation_other_way_by_staff",
            ),
        ),
        *(
            migrations.AlterField(
                model,
                "because",
                models.CharField(choices=[(one, one) for one in BECAUSE], max_length=12),
            )
            for model in ("invitationend", "planlinkend", "answerlinkend")
        ),
        migrations.AddField("submission", "answered_on", models.DateField(null=True)),
        migrations.AddField(
            "submission",
            "by",
            models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddConstraint(
            "submission",
            models.CheckConstraint(
                condition=Q(answered_on__isnull=True) | Q(by__isnull=False),
                name="submission_of_a_day_was_typed_by_staff",
            ),
        ),
        migrations.CreateModel(
            name="QuizCode",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("code", models.CharField(max_length=8, unique=True)),
                ("language", models.CharField(max_length=8)),
                ("recorded_at", models.DateTimeField()),
                (
                    "invitation",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="code",
                        to="education.invitation",
                    ),
                ),
            ],
            options={"abstract": False},
        ),
    ]
