"""The app's registration with Django."""

from django.apps import AppConfig
from django.db.backends.signals import connection_created
from django.db.models.signals import post_migrate

from patients.append_only import lay_triggers
from patients.kept_plans import made_ready


class PatientsConfig(AppConfig):
    """WHO has WHICH operation WHEN."""

    name = "patients"

    def ready(self) -> None:
        """Make each connection ready to keep plans, and lay the append-only triggers.

        These after each migrate: once, not for each of the apps.
        """
        connection_created.connect(made_ready, dispatch_uid="kept-plans")
        post_migrate.connect(lay_triggers, sender=self, dispatch_uid="append-only")
