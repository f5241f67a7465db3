"""`manage.py migrate`: Django's own, but an empty database gets its tables at once.

Afterwards the look-up tables of the identity rule are as this version's rules make them: a name
that an older version brought into another form would be overlooked, a twin's too.
"""

from typing import Any

from django.core.management.commands import migrate
from django.db import DEFAULT_DB_ALIAS, connections

from clinic.empty_database import history, is_empty, make_tables
from patients.match_keys import rebuild

# With one of these, something else is asked for than all tables.
SOMETHING_ELSE = ("app_label", "fake", "fake_initial", "plan", "check_unapplied")


class Command(migrate.Command):
    """Django's command, which finds nothing left to apply then, and sends its signals."""

    def handle(self, *args: Any, **options: Any) -> None:
        """Make the tables at once if there are none, and go on as Django does."""
        database = connections[options["database"]]
        if not any(options[name] for name in SOMETHING_ELSE) and is_empty(database):
            if options["verbosity"] > 0:
                self.stdout.write("The database is empty: all tables are made at once.")
            make_tables(database, history(database))
        super().handle(*args, **options)
        if database.alias == DEFAULT_DB_ALIAS and not any(options[name] for name in SOMETHING_ELSE):
            self._find_patients_by_todays_rules(options["verbosity"])

    def _find_patients_by_todays_rules(self, verbosity: int) -> None:
        drift = rebuild()
        if drift and verbosity > 0:
            count = len(drift.missing | drift.leftover)
            self.stdout.write(
                f"The look-up keys of {count} of {drift.patients} patients were made anew."
            )
