"""PostgreSQL's own programs: pg_dump, pg_restore, psql."""

import os
import shutil

from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.backends.postgresql.client import DatabaseClient

from clinic.backups.about import Refused


def program(name: str) -> str:
    """Return the path of a program. Raises Refused where it is not installed."""
    found = shutil.which(name)
    if found is None:
        raise Refused(
            f"There is no {name} here. Install PostgreSQL's client programs, of the server's "
            "version or a later one. Nothing was done."
        )
    return found


def where(using: BaseDatabaseWrapper) -> tuple[list[str], dict[str, str]]:
    """Return the arguments and variables that lead such a program to a database.

    The password is among the variables: a list of processes shows arguments to everybody.
    """
    arguments, env = DatabaseClient.settings_to_cmd_args_env(using.settings_dict, [])
    return arguments[1:], os.environ | (env or {})
