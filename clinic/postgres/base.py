"""Django finds a database engine's DatabaseWrapper in its module `base`."""

from typing import Any

from django.db.backends.postgresql import base
from psycopg_pool import PoolTimeout


class DatabaseWrapper(base.DatabaseWrapper):
    """PostgreSQL through a pool that survives all its connections being killed at once.

    The pool checks a connection before it hands it out, and after a second broken one waits for as
    long as the request may. When the database was restarted they are all broken: one request would
    fail for each process. So then the idle ones are replaced together, and asked for once more
    (promise B7). With the database down, both tries together stay within its second.
    """

    def get_new_connection(self, conn_params: dict[str, Any]) -> Any:
        """A connection from the pool."""
        try:
            return super().get_new_connection(conn_params)
        except PoolTimeout:
            self.pool.check()
            return super().get_new_connection(conn_params)
