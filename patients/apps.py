"""The app's registration with Django."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate

from patients.append_only import lay_triggers


class PatientsConfig(AppConfig):
    """WHO has WHICH operation WHEN."""

    name = "patients"

    def ready(self) -> None:
        """Lay the append-only triggers after each migrate: once, not for each of the apps."""
        post_migrate.connect(lay_triggers, sender=self, dispatch_uid="append-only")
