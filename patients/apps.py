"""The app's registration with Django."""

from django.apps import AppConfig


class PatientsConfig(AppConfig):
    """See the package's docstring for what lives here."""

    name = "patients"
