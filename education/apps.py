"""The app's registration with Django."""

from importlib import import_module

from django.apps import AppConfig


class EducationConfig(AppConfig):
    """WHAT is to be learned, WHAT was answered, and IS THE PATIENT CLEARED."""

    name = "education"

    def ready(self) -> None:
        """Follow the schedule and the register (its module needs the models, hence now)."""
        import_module("education.follow").connect()
