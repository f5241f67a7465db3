"""Listen for HL7 v2 messages over MLLP, plain or in TLS: answered after they are committed.

The blocks are read and written by the `hl7` package. Messages of one connection go one after
another, in the order in which they came. The database is used from one thread, never from the
loop.
"""

import asyncio
import logging
import socket
import ssl
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Any

from django.db import DatabaseError, InterfaceError, connection
from hl7.mllp import InvalidBlockError, start_hl7_server

from patients.clock import now
from patients.intake import Arrived
from patients.receive_siu import Answered, not_kept, receive_all, too_long
from patients.rules.message_reading import MAX_MESSAGE_BYTES

log = logging.getLogger(__name__)

MAX_CONNECTIONS = 100
# Messages in one transaction.
AT_ONCE = 50
GATHERING = 0.005  # seconds; a transaction takes several times as long
Waiting = tuple[Arrived, "asyncio.Future[Answered]"]
# Seconds: for the rest of a message that has begun, for a message at all, for taking an answer,
# and for what is under way when the listener is asked to end.
READ_TIME, IDLE_TIME, WRITE_TIME, ENDING_TIME = 30.0, 3600.0, 30.0, 20.0
HANDSHAKE_TIME = 10.0


def answer_all(arrived: Sequence[Arrived]) -> list[Answered]:
    """Take in messages that came at one time, in one transaction; answer each.

    Once more on a new connection if the database cut this one: what was committed all the same is
    known by its control id. If it fails with one of several, they are taken in one by one.
    """
    at = now()
    for last in (False, True):
        try:
            return receive_all(arrived, at=at)
        except (DatabaseError, InterfaceError) as error:
            connection.close()
            if last:
                log.warning("Messages were not kept", exc_info=error)
        except Exception as error:  # whatever it is, the senders get an answer and the rest goes on
            connection.close()
            log.error("Messages were not kept", exc_info=error)
            break
    if len(arrived) == 1 or not _database_answers():
        return [not_kept(one.content, at=at) for one in arrived]
    return [answer for one in arrived for answer in answer_all([one])]


def _database_answers() -> bool:
    try:
        connection.ensure_connection()
    except (DatabaseError, InterfaceError):
        return False
    return True


@dataclass
class Listener:
    """A server for MLLP connections.

    What arrives while the messages before are being written is written next, together: one
    transaction for all that wait, as many as there are connections.
    """

    host: str
    port: int
    tls: ssl.SSLContext | None = None
    stopping: asyncio.Event = field(default_factory=asyncio.Event)
    _tasks: set["asyncio.Task[None]"] = field(default_factory=set)
    _idle: set["asyncio.Task[None]"] = field(default_factory=set)
    _waiting: "asyncio.Queue[Waiting]" = field(default_factory=asyncio.Queue)

    async def run(self, started: Callable[[int], None]) -> None:
        """Listen until `stopping` is set; calls `started` with the port. Ends in good order."""
        # In TLS, who connects and says nothing is not among the connections until they did.
        handshake = {"ssl": self.tls, "ssl_handshake_timeout": HANDSHAKE_TIME} if self.tls else {}
        server = await start_hl7_server(
            self._connected, self.host, self.port, limit=MAX_MESSAGE_BYTES, **handshake
        )
        writing = asyncio.create_task(self._write_for_ever())
        started(server.sockets[0].getsockname()[1])
        await self.stopping.wait()
        server.close()
        for task in self._idle:
            task.cancel()
        if self._tasks:
            await asyncio.wait(self._tasks, timeout=ENDING_TIME)
        writing.cancel()

    async def _write_for_ever(self) -> None:
        loop = asyncio.get_running_loop()
        with ThreadPoolExecutor(1, "mllp") as thread:
            try:
                while True:
                    some = [await self._waiting.get()]
                    if len(self._tasks) > 1:  # others may be about to send, after the same answer
                        await asyncio.sleep(GATHERING)
                    while len(some) < AT_ONCE and not self._waiting.empty():
                        some.append(self._waiting.get_nowait())
                    arrived = [one for one, _ in some]
                    answers = await loop.run_in_executor(thread, answer_all, arrived)
                    for (_, answered), answer in zip(some, answers, strict=True):
                        if not answered.done():
                            answered.set_result(answer)
            finally:
                thread.submit(_close)

    async def _connected(self, reader: Any, writer: Any) -> None:
        task = asyncio.current_task()
        assert task is not None
        if len(self._tasks) >= MAX_CONNECTIONS:
            log.warning("Too many connections: one was refused")
            writer.close()
            return
        self._tasks.add(task)
        peer = writer.get_extra_info("peername")
        writer.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        try:
            while not self.stopping.is_set():
                content = await self._next(reader, task)
                if content is None:
                    break
                await self._answer(content, writer, f"MLLP from {peer[0]}")
        except InvalidBlockError:
            log.warning("A connection was ended: what came is no MLLP block")
        except ValueError:  # longer than a message may be: where the next one begins is lost
            log.warning("A connection was ended: a message was too long")
            await self._write(too_long(at=now()), writer)
        except (TimeoutError, ConnectionError) as error:
            log.warning("A connection was ended", exc_info=error)
        except asyncio.CancelledError:
            pass  # idle, and the listener ends
        finally:
            self._tasks.discard(task)
            writer.close()

    async def _next(self, reader: Any, task: "asyncio.Task[None]") -> bytes | None:
        """Return the next message; None at the end of the connection, or after long silence."""
        waited = 0.0
        while waited < IDLE_TIME:
            begun = bool(reader._buffer)
            if not begun:
                self._idle.add(task)
            try:
                block: bytes = await asyncio.wait_for(reader.readblock(), READ_TIME)
            except TimeoutError:
                if begun:
                    raise  # a message that began and did not go on
                waited += READ_TIME
            except asyncio.IncompleteReadError as ended:
                if ended.partial:
                    log.warning("A connection ended inside a message")
                return None
            else:
                return block
            finally:
                self._idle.discard(task)
        return None

    async def _answer(self, content: bytes, writer: Any, source: str) -> None:
        answered: asyncio.Future[Answered] = asyncio.get_running_loop().create_future()
        self._waiting.put_nowait((Arrived(content, source), answered))
        await self._write(await answered, writer)

    async def _write(self, answered: Answered, writer: Any) -> None:
        log.info("%s: %s", answered.code, answered.what)
        for acknowledgement in answered.acknowledgements:
            writer.writeblock(acknowledgement)
        await asyncio.wait_for(writer.drain(), WRITE_TIME)


def _close() -> None:
    """Give back the connection to the database that the thread has."""
    connection.close()
