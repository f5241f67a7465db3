"""The app's registration with Django."""

import gc
from importlib import import_module

from django.apps import AppConfig
from django.contrib.staticfiles.apps import StaticFilesConfig


class ClinicConfig(AppConfig):
    """See the package's docstring for what lives here."""

    name = "clinic"

    def ready(self) -> None:
        """Write sign-ins into the trail, and tell whoever confirmed what holds no longer.

        The modules need the models, hence now.
        """
        import_module("clinic.sign_ins").connect()
        import_module("clinic.look_again").connect()
        import_module("clinic.digest").connect()
        # Python looks for garbage after every 700 new objects. A page or a sweep makes thousands
        # that go by themselves: a seventh of a sender's time went into looking.
        gc.freeze()
        gc.set_threshold(50_000, 20, 100)


class StaticFiles(StaticFilesConfig):
    """Django's static files, without those of Bootstrap's package that no page uses.

    Compressing them would take most of the first start.
    """

    ignore_patterns = [
        *StaticFilesConfig.ignore_patterns,
        "*.rtl.*",
        "bootstrap.css*",
        "bootstrap-grid.css*",
        "bootstrap-reboot.css*",
        "bootstrap-utilities.css*",
        "bootstrap.bundle.js*",
        "bootstrap.js*",
        "bootstrap.esm*",
        "jquery*",
    ]
