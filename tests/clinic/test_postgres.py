"""Promise B7: connections killed 20 times, and no request fails for it: on a real PostgreSQL."""

import subprocess
import sys
from pathlib import Path
from urllib.parse import quote

from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.urls import path

from patients.open_to import ANYONE, open_to
from tests import servers
from tests.clinic.test_settings import PRODUCTION


@open_to(ANYONE)
def asks(request: HttpRequest) -> HttpResponse:
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    return HttpResponse()


urlpatterns = [path("asks/", asks)]
handler500 = "clinic.failures.server_error"
ROOT = Path(__file__).resolve().parent.parent.parent
# In a process with the production settings, so with the pool that production has.
CODE = """
import threading
import django; django.setup()
import psycopg
from django.conf import settings
from django.db import connection
from django.test import Client

settings.ROOT_URLCONF = "tests.clinic.test_postgres"

client = Client(SERVER_NAME="clear-by.example.org")
params = connection.get_connection_params()
params = {name: params[name] for name in ("host", "user", "dbname")}

def ask():
    status = client.get("/asks/", secure=True).status_code
    # As a server does after each request; Django's test client does not.
    connection.close()
    return status

def hold(barrier):
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
        barrier.wait()
    connection.close()

for _ in range(20):
    # Several connections lie idle in the pool ...
    barrier = threading.Barrier(4)
    threads = [threading.Thread(target=hold, args=(barrier,)) for _ in range(4)]
    [thread.start() for thread in threads]
    [thread.join() for thread in threads]
    # ... when all of them are killed.
    with psycopg.connect(**params, autocommit=True) as killer:
        killed = killer.execute(
            "SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity"
            " WHERE pid <> pg_backend_pid() AND backend_type = 'client backend'"
        ).fetchone()[0]
    print(killed, ask(), ask(), ask())
"""


def test_no_request_fails_when_all_connections_are_killed() -> None:
    with servers.postgres() as database:
        ended = subprocess.run(
            [sys.executable, "-c", CODE],
            cwd=ROOT,
            env=PRODUCTION
            | {
                "DJANGO_SETTINGS_MODULE": "clinic.settings",
                "DATABASE_URL": f"postgresql://postgres@{quote(database.host, safe='')}/postgres",
            },
            capture_output=True,
            text=True,
            check=False,
            timeout=120,
        )
    rounds = [[int(word) for word in line.split()] for line in ended.stdout.splitlines()]
    assert len(rounds) == 20, ended.stderr
    for killed, *statuses in rounds:
        assert killed >= 2
        assert statuses == [200, 200, 200]
