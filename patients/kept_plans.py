"""Statements whose plan PostgreSQL keeps: sent whole once, and by a short name from then on.

A page asks a hundred short questions, each answered by the server in a fraction of a millisecond.
Django's cursors plan it anew each time, and cursors of whatever kind take longer over it than the
server. So it is sent without one (`_Kept`), unless somebody wants to be told of what runs.
"""

from collections.abc import Sequence
from typing import Any

import psycopg
from django.db import NotSupportedError
from django.db.backends.utils import CursorWrapper
from psycopg.adapt import AdaptersMap, PyFormat, Transformer
from psycopg.errors import error_from_result
from psycopg.generators import execute
from psycopg.pq import ExecStatus, TransactionStatus
from psycopg.pq.abc import PGresult
from psycopg.types.datetime import TimestamptzLoader

MOST_KEPT = 200  # statements a connection; the product has about a hundred


def rows_of(database: Any, statement: str, values: Sequence[Any]) -> list[Any]:
    """Run a statement that reads; for PostgreSQL its places are numbered, $1 and $2."""
    if database.vendor != "postgresql":
        return fetched(database.cursor(), statement, values)
    try:
        return _rows(database, statement, values)
    except NotSupportedError:
        # A migration widened a column under a plan that this connection keeps.
        if database.in_atomic_block:
            raise
        with database.cursor() as cursor:
            cursor.execute("DEALLOCATE ALL")
        _of(database).forget()
        return _rows(database, statement, values)


def rows_written(database: Any, statement: str, values: Sequence[Any]) -> int:
    """Run a statement that writes, and return how many rows it wrote."""
    kept = _at_once(database)
    if kept is not None:
        with database.wrap_database_errors:
            return kept.answer(statement, values).command_tuples or 0
    cursor = numbering(database) if database.vendor == "postgresql" else database.cursor()
    with cursor:
        cursor.execute(statement, values)
        return int(cursor.rowcount)


def _rows(database: Any, statement: str, values: Sequence[Any]) -> list[Any]:
    kept = _at_once(database)
    if kept is not None:
        with database.wrap_database_errors:
            return kept.rows(statement, values)
    return fetched(numbering(database), statement, values)


def fetched(cursor: CursorWrapper, statement: str, values: Sequence[Any]) -> list[Any]:
    """Run a statement that reads by a cursor, and close that."""
    with cursor:
        cursor.execute(statement, values)
        rows: list[Any] = cursor.fetchall()
    return rows


class _Kept:
    """What one connection keeps of statements, and how they are sent without a cursor.

    The driver's own pieces, in the order in which its cursors use them.
    """

    def __init__(self, server: Any) -> None:
        self._server, self._values = server, Transformer(_Numbering(server))
        self._names: dict[tuple[str, Any], bytes] = {}
        self._given = 0

    def rows(self, statement: str, values: Sequence[Any]) -> list[Any]:
        """Return the rows of a statement that reads."""
        result = self.answer(statement, values)
        self._values.set_pgresult(result)
        rows = self._values.load_rows(0, result.ntuples, tuple)
        self._values.set_pgresult(None)  # what was read is not held here
        return rows

    def answer(self, statement: str, values: Sequence[Any]) -> PGresult:
        """Send a statement, the first time whole, and wait for what the server says."""
        server = self._server
        sent = self._values.dump_sequence(values, [PyFormat.AUTO] * len(values))
        key = statement, self._values.types
        if not server.autocommit and server.pgconn.transaction_status == TransactionStatus.IDLE:
            server.execute("")  # the driver begins a transaction with the first that a cursor sends
        with server.lock:
            name = self._names.get(key) or self._keep(key)
            server.pgconn.send_query_prepared(name, sent, self._values.formats)
            return self._said()

    def forget(self) -> None:
        """The server has forgotten every statement."""
        self._names.clear()

    def _keep(self, key: tuple[str, Any]) -> bytes:
        """Give a statement to the server to keep, with the types of its values."""
        server = self._server.pgconn
        if len(self._names) >= MOST_KEPT:
            oldest = next(iter(self._names))
            server.send_query(b"DEALLOCATE " + self._names.pop(oldest))
            self._said()
        self._given += 1
        name = b"kept_%d" % self._given
        statement, types = key
        server.send_prepare(name, statement.encode(), types)
        self._said()
        self._names[key] = name
        return name

    def _said(self) -> PGresult:
        """Wait; an interrupted wait cancels what runs on the server."""
        result: PGresult = self._server.wait(execute(self._server.pgconn))[-1]
        if result.status not in (ExecStatus.TUPLES_OK, ExecStatus.COMMAND_OK):
            raise error_from_result(result)
        return result


def _at_once(database: Any) -> _Kept | None:
    """Return how to send a statement without a cursor; None where only a cursor will do.

    That is where somebody is told of what runs.
    """
    if database.vendor != "postgresql" or database.execute_wrappers or database.queries_logged:
        return None
    _connect(database)
    database.validate_no_broken_transaction()
    return _of(database)


def _of(database: Any) -> _Kept:
    """Return what the connection keeps; it goes when the connection goes."""
    server = database.connection
    try:
        kept: _Kept = server.kept_plans
    except AttributeError:
        # Else a plan is made again for each short list of ids, longer than it takes to run. Only
        # what is sent here has a plan that is kept: Django's cursors never prepare.
        server.execute("SET plan_cache_mode = force_generic_plan")
        kept = server.kept_plans = _Kept(server)
    return kept


def made_ready(connection: Any, **_: Any) -> None:
    """Set a new connection at once: a setting that is made in a transaction may be rolled back."""
    if connection.vendor == "postgresql":
        _of(connection)


class _Numbering(psycopg.RawCursor[Any]):
    """A cursor of the driver that also tells which query ran; Django's log asks for it."""

    @property
    def adapters(self) -> AdaptersMap:
        """The connection's, but for instants: those the driver reads, several times as quickly.

        Django's way gives them the same time zone, as its connections speak UTC.
        """
        server: Any = self._conn
        try:
            adapters: AdaptersMap = server.kept_adapters
        except AttributeError:
            adapters = server.kept_adapters = AdaptersMap(server.adapters)
            adapters.register_loader("timestamptz", TimestamptzLoader)
        return adapters

    def _convert_query(self, query: Any, params: Any = None) -> Any:
        self._query = super()._convert_query(query, params)
        return self._query


def numbering(database: Any) -> CursorWrapper:
    """Return a cursor for a statement with numbered places, whose values are sent apart from it.

    Django's own cursors write the values into the text.
    """
    _connect(database)
    with database.wrap_database_errors:
        cursor: CursorWrapper = database._prepare_cursor(_Numbering(database.connection))
    return cursor


def _connect(database: Any) -> None:
    """See to a connection that works, as Django does before it gives a cursor."""
    database.close_if_health_check_failed()
    database.ensure_connection()
