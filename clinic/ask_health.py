"""Asks the web server of this container whether it is able to serve; exit status 0 or 1."""

import http.client
import os
import sys
from urllib.parse import urlsplit


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


if __name__ == "__main__":
    sys.exit(0 if healthy(8000, os.environ.get("PUBLIC_URL", "")) else 1)
