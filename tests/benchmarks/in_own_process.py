"""Measures in a process of its own, with a folder and a database of its own that are thrown away.

Django is set up once in a process, for one database; so whoever starts a server for it starts the
process that measures as well.
"""

import os
import subprocess
import sys
import tempfile
from collections.abc import Iterable
from pathlib import Path
from urllib.parse import quote

from tests.servers import postgres

ROOT = Path(__file__).resolve().parent.parent.parent


def measure(databases: Iterable[str], module: str, *arguments: object, **settings: str) -> int:
    """Run `tests.benchmarks.<module>` on "sqlite", "postgres" or both, one after the other.

    Returns the worst exit status. `settings`: PostgreSQL's own.
    """
    status = 0
    for database in databases:
        print(f"\n{database}", flush=True)
        status = max(status, _on(database, module, arguments, settings))
    return status


def _on(database: str, module: str, arguments: Iterable[object], settings: dict[str, str]) -> int:
    command = [sys.executable, "-m", f"tests.benchmarks.{module}", *map(str, arguments)]
    with tempfile.TemporaryDirectory(prefix="clear-by-benchmark-") as data:
        environment = os.environ | {"CLINIC_DATA_DIR": data, "LOG_LEVEL": "ERROR"}
        environment.pop("DATABASE_URL", None)
        if database == "sqlite":
            return run(command, environment)
        with postgres(**settings) as server:
            address = f"postgresql://postgres@{quote(server.host, safe='')}/postgres"
            return run(command, environment | {"DATABASE_URL": address})


def run(command: list[str], environment: dict[str, str]) -> int:
    return subprocess.run(command, cwd=ROOT, env=environment, check=False).returncode
