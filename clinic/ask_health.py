"""Asks one process of this container whether it goes on; exit status 0 or 1.

`python -I clinic/ask_health.py [web | worker | beat | mllp]`. It is run every few seconds: by the
standard library only, and not as a part of the package, which would load Celery. No back end is
asked: a database that is down is not cured by starting web servers anew, and they have a page for
it. What is asked of the programme as a whole is /readyz.
"""

import http.client
import os
import socket
import sys
import time
from pathlib import Path
from urllib.parse import urlsplit

WEB, MLLP = 8000, 2575  # ports
STILL = 60.0  # seconds; the pulse beats every 10, the scheduler's at least every 30


def healthy(port: int, public_url: str) -> bool:
    """True if the server on this machine answers 200, asked by the host that it is known by."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=3)
    try:
        host = urlsplit(public_url).netloc or "localhost"
        connection.request("GET", "/healthz", headers={"Host": host})
        return connection.getresponse().status == 200
    except (OSError, http.client.HTTPException):
        return False
    finally:
        connection.close()


def beats(name: str, folder: Path, *, at: float) -> bool:
    """True if the process has touched its file (clinic/pulse.py) within the last minute."""
    try:
        return at - (folder / f"{name}-pulse").stat().st_mtime < STILL
    except OSError:
        return False


def listens(port: int) -> bool:
    """True if something on this machine takes connections at the port."""
    try:
        socket.create_connection(("127.0.0.1", port), timeout=3).close()
    except OSError:
        return False
    return True


def main(kind: str) -> bool:
    """Ask the process of this kind."""
    match kind:
        case "web":
            return healthy(WEB, os.environ.get("PUBLIC_URL", ""))
        case "worker" | "beat":
            folder = Path(os.environ.get("PULSE_FOLDER") or "/tmp")
            return beats(kind, folder, at=time.time())
        case "mllp":
            return listens(MLLP)
    return False


if __name__ == "__main__":
    sys.exit(0 if main(sys.argv[1] if len(sys.argv) > 1 else "web") else 1)
