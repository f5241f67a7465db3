"""Promise B1: a hint to the workers never makes a request wait and never makes it fail."""

import socket
import threading
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest
import redis
from celery import Celery
from django.conf import settings
from django.db import transaction

from patients import wake as module
from patients.wake import QUEUE_LENGTH, Publisher, wake

TASK = "education.tasks.sweep_messages"


def app_on(broker: str) -> Celery:
    """A Celery application with the settings of production."""
    app = Celery("wake-test", broker=broker, set_as_current=False)
    app.conf.update(
        broker_transport_options=settings.REDIS_TRANSPORT_OPTIONS,
        broker_connection_timeout=1,
        task_publish_retry=False,
        task_ignore_result=True,
    )
    return app


@pytest.fixture(autouse=True)
def publisher(monkeypatch: pytest.MonkeyPatch) -> Publisher:
    """A publisher of the test's own, with nothing waiting."""
    own = Publisher()
    monkeypatch.setattr(module, "publisher", own)
    return own


@pytest.fixture
def silent_broker() -> Iterator[str]:
    """A broker that accepts connections and never answers: the worst kind."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen()
        yield f"redis://127.0.0.1:{listener.getsockname()[1]}/0"


def wait_for(happened: Callable[[], bool]) -> None:
    deadline = time.monotonic() + 5
    while not happened():
        assert time.monotonic() < deadline
        time.sleep(0.01)


def waiting_in(queue: redis.Redis) -> int:
    return int(queue.llen("celery"))


@pytest.fixture
def queue(valkey_url: str, monkeypatch: pytest.MonkeyPatch) -> Iterator[redis.Redis]:
    """A real Valkey, empty, as the broker."""
    address = valkey_url.rsplit("/", 1)[0] + "/7"
    monkeypatch.setattr(module, "current_app", app_on(address))
    with redis.Redis.from_url(address) as client:
        client.flushdb()
        yield client


def wait_until_waiting(queue: redis.Redis, count: int) -> None:
    wait_for(lambda: waiting_in(queue) == count)


@pytest.mark.django_db(transaction=True)
def test_the_hint_reaches_the_broker_after_the_commit_and_not_before(queue: redis.Redis) -> None:
    with transaction.atomic():
        wake(TASK, 17)
        time.sleep(0.2)
        assert waiting_in(queue) == 0
    wait_until_waiting(queue, 1)


@pytest.mark.django_db(transaction=True)
def test_rolled_back_work_gives_no_hint(queue: redis.Redis) -> None:
    with transaction.atomic():
        wake(TASK, 17)
        transaction.set_rollback(True)
    with transaction.atomic():
        wake(TASK, 18)
    wait_until_waiting(queue, 1)


@pytest.mark.django_db(transaction=True)
def test_a_silent_broker_holds_up_no_request(
    silent_broker: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While one hint hangs at the broker, 200 more go on their way: nothing here waits for it."""
    app = app_on(silent_broker)
    asking, send_task = threading.Event(), app.send_task
    asked_by: list[int] = []

    def send_and_say(*args: Any, **options: Any) -> Any:
        asked_by.append(threading.get_ident())
        asking.set()
        return send_task(*args, **options)

    monkeypatch.setattr(app, "send_task", send_and_say)
    monkeypatch.setattr(module, "current_app", app)
    for number in range(200):
        with transaction.atomic():
            wake(TASK, number)
    assert asking.wait(10)
    assert threading.get_ident() not in asked_by


@pytest.mark.django_db(transaction=True)
def test_a_broker_that_is_down_fails_no_request_and_is_tried_again(
    queue: redis.Redis, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "REST_AFTER_FAILURE", 0.3)
    down = threading.Event()

    class Down:
        def send_task(self, *args: object, **options: object) -> None:
            down.set()
            raise ConnectionError

    with monkeypatch.context() as while_down:
        while_down.setattr(module, "current_app", Down())
        wake(TASK, 1)
        assert down.wait(5)
    wake(TASK, 2)  # dropped: the broker is being left alone
    time.sleep(0.5)
    assert waiting_in(queue) == 0
    wake(TASK, 3)
    wait_until_waiting(queue, 1)


def test_more_hints_than_fit_are_dropped_and_not_waited_for(
    publisher: Publisher, monkeypatch: pytest.MonkeyPatch
) -> None:
    go, sent = threading.Event(), []

    class Slow:
        def send_task(self, name: str, *, args: tuple[int, ...], **options: object) -> None:
            sent.append(args)
            go.wait(5)

    monkeypatch.setattr(module, "current_app", Slow())
    taken = sum(publisher.offer((TASK, (number,))) for number in range(QUEUE_LENGTH + 100))
    assert QUEUE_LENGTH <= taken <= QUEUE_LENGTH + 1
    go.set()
    # Each that was taken goes out; left over, they would go to the next test's broker.
    wait_for(lambda: len(sent) == taken)


def test_a_hint_that_waits_already_is_not_queued_twice(
    publisher: Publisher, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ten thousand patients of one import are one piece of work, and push no other hint out."""
    go, sent = threading.Event(), []

    class Slow:
        def send_task(self, name: str, *, args: tuple[int, ...], **options: object) -> None:
            sent.append(args)
            go.wait(5)

    monkeypatch.setattr(module, "current_app", Slow())
    assert all(publisher.offer((TASK, ())) for _ in range(10 * QUEUE_LENGTH))
    assert publisher.offer((TASK, (1,)))
    go.set()
    wait_for(lambda: (1,) in sent)
    # At most one that was under way, and one that says what came after it.
    assert sent in ([(), (), (1,)], [(), (1,)])
    assert publisher.offer((TASK, ())), "and it is taken again once it is gone"


@pytest.mark.django_db(transaction=True)
def test_only_ids_travel(queue: redis.Redis) -> None:
    """Promise B3: task arguments are ids only, so no patient's fact stands in the queue."""
    wake(TASK, 17, 18)
    wait_until_waiting(queue, 1)
    message = queue.lrange("celery", 0, -1)[0]
    assert b'"argsrepr": "(17, 18)"' in message
