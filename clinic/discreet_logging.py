"""Logs that tell where something went wrong and never about whom (promise T3).

An exception's message can carry anything: a name that failed a check, the row in an SQL error.
So of an exception only its type and the places (file, line, function) are written, and of a
request only its path, without the query and with the token of a personal link blotted out.
"""

import json
import logging
import re
import sys
import threading
import traceback
from collections.abc import Mapping
from datetime import UTC, datetime
from types import TracebackType
from typing import Any

WITHHELD = "(withheld)"
# /q/<token>/... is the personal link of a patient.
PERSONAL_LINK = re.compile(r"(/q/)[^/\s\"'?#]+")
# Any other long path segment may be a token too (signing in, setting a password).
LONG_SEGMENT = re.compile(r"(/)[A-Za-z0-9_\-=:.~%]{32,}(?=[/\s\"'?#]|$)")
# What staff searched for stands in the query.
QUERY = re.compile(r"(/[^\s\"'?]*)\?[^\s\"']+")
# Celery puts these into the arguments of its log lines.
TASK_VALUES = frozenset({"args", "kwargs", "exc", "traceback", "return_value", "reason"})


def blot(line: str) -> str:
    """`line` with tokens and queries of web addresses blotted out."""
    line = PERSONAL_LINK.sub(r"\1***", line)
    line = LONG_SEGMENT.sub(r"\1***", line)
    return QUERY.sub(r"\1?***", line)


def discreet_argument(value: object) -> object:
    """A log argument without what an exception has to say."""
    if isinstance(value, BaseException):
        return type_name(value)
    return value


def type_name(error: BaseException) -> str:
    """The exception's type with its module, like django.db.utils.IntegrityError."""
    kind = type(error)
    if kind.__module__ == "builtins":
        return kind.__qualname__
    return f"{kind.__module__}.{kind.__qualname__}"


def chain(error: BaseException) -> list[BaseException]:
    """The exception and those that led to it, the first one first; ends on a circle."""
    found: list[BaseException] = []
    current: BaseException | None = error
    while current is not None and current not in found:
        found.append(current)
        current = current.__cause__ or (
            None if current.__suppress_context__ else current.__context__
        )
    return found[::-1]


def places(error: BaseException) -> str:
    """Type and places of the exception and of its causes, with no message and no source line."""
    lines = []
    for one in chain(error):
        lines.append(type_name(one))
        for frame in traceback.extract_tb(one.__traceback__):
            lines.append(f'  File "{frame.filename}", line {frame.lineno}, in {frame.name}')
    return "\n".join(lines)


class DiscreetFormatter(logging.Formatter):
    """Formats a record as one line, followed by the places of its exception if it has one."""

    def __init__(self) -> None:
        super().__init__("%(asctime)s %(levelname)s %(name)s %(message)s")

    def format(self, record: logging.LogRecord) -> str:
        """The line to write. The record itself is left as it is for other handlers."""
        return super().format(self.without_facts(record))

    def without_facts(self, record: logging.LogRecord) -> logging.LogRecord:
        """A copy of the record with its message made, and no patient's fact in it."""
        copy = logging.makeLogRecord(record.__dict__)
        if isinstance(copy.args, Mapping):
            copy.args = {
                key: WITHHELD if key in TASK_VALUES else discreet_argument(value)
                for key, value in copy.args.items()
            }
        elif copy.args:
            copy.args = tuple(discreet_argument(value) for value in copy.args)
        if isinstance(copy.msg, BaseException):
            copy.msg = type_name(copy.msg)
        copy.exc_text = None
        copy.stack_info = None
        copy.msg, copy.args = blot(copy.getMessage()), None
        return copy

    def formatException(self, ei: Any) -> str:  # noqa: N802 - the standard library's name
        """Types and places, no messages."""
        return places(ei[1]) if ei and ei[1] is not None else ""


class DiscreetJson(DiscreetFormatter):
    """The same as one JSON object a line, for programs that collect logs.

    Keys: at (UTC, RFC 3339), level, logger, message, process, thread, and where for an exception.
    What else a record carries (a request, the values of a task) is left out.
    """

    def format(self, record: logging.LogRecord) -> str:
        """The line to write."""
        copy = self.without_facts(record)
        line = {
            "at": datetime.fromtimestamp(copy.created, tz=UTC).isoformat(timespec="milliseconds"),
            "level": copy.levelname,
            "logger": copy.name,
            "message": copy.msg,
            "process": copy.process,
            "thread": copy.threadName,
        }
        if copy.exc_info:
            line["where"] = self.formatException(copy.exc_info)
        return json.dumps(line, ensure_ascii=False)


def log_uncaught_exceptions() -> None:
    """Sends what would end a server process or one of its threads through the log as well."""
    log = logging.getLogger("clinic.uncaught")

    def in_process(
        kind: type[BaseException], error: BaseException, where: TracebackType | None
    ) -> None:
        if issubclass(kind, KeyboardInterrupt):
            return
        log.critical("The process ended", exc_info=(kind, error, where))

    def in_thread(args: threading.ExceptHookArgs) -> None:
        if args.exc_value is not None:
            log.critical(
                "A thread ended", exc_info=(args.exc_type, args.exc_value, args.exc_traceback)
            )

    sys.excepthook = in_process
    threading.excepthook = in_thread
