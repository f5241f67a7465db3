"""The app's registration with Django."""

from importlib import import_module

from django.apps import AppConfig
from django.conf import settings
from django.utils.module_loading import import_string


class EducationConfig(AppConfig):
    """WHAT is to be learned, WHAT was answered, and IS THE PATIENT CLEARED."""

    name = "education"

    def ready(self) -> None:
        """Follow the schedule and the register (its module needs the models, hence now)."""
        import_module("education.follow").connect()
        for listener in settings.MAIL_LISTENERS:
            import_string(listener)()
