"""The Celery application: the broker's messages are hints, the rows in the database the truth."""

import os
from typing import Any

from celery import Celery
from celery.signals import beat_init, setup_logging, worker_init
from django.conf import settings
from kombu.transport import TRANSPORT_ALIASES

from clinic.discreet_logging import log_uncaught_exceptions
from clinic.pulse import WorkerPulse

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clinic.settings")

WORKER_WAITS = 5  # seconds

TRANSPORT_ALIASES["folder"] = "clinic.folder_broker:Transport"

app = Celery("clinic", task_cls="clinic.counted_task:CountedTask")
# Also for threads that did not create it: publishing happens in one (patients/wake.py).
app.set_default()
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
app.steps["worker"].add(WorkerPulse)


@setup_logging.connect
def keep_djangos_logging(**_: Any) -> None:
    """Receiving this signal keeps Celery from setting up logging of its own."""


@worker_init.connect
def a_worker_has_time(**_: Any) -> None:
    """Nobody waits for a worker: a busy Redis is given longer than a publisher gives it."""
    if settings.REDIS_URL:
        app.conf.broker_connection_timeout = WORKER_WAITS
        app.conf.broker_transport_options = settings.REDIS_TRANSPORT_OPTIONS | {
            "socket_timeout": WORKER_WAITS,
            "socket_connect_timeout": WORKER_WAITS,
        }


@worker_init.connect
@beat_init.connect
def no_facts_in_crash_reports(**_: Any) -> None:
    """A crash of the process itself is logged like every other exception."""
    log_uncaught_exceptions()
