"""How many scheduling messages a second the MLLP listener answers, on PostgreSQL.

    .venv/bin/python -m tests.benchmarks.mllp

Starts a throw-away PostgreSQL and `manage.py listen_mllp`, and sends messages over several
connections, each waiting for the answer before the next one, as senders do. Of every ten messages
five book an operation for somebody new (S12), three move one (S13), one changes its surgeon (S14)
and one cancels it (S15); a module is required of the procedure. The floor, in the same run: as
many bare transactions of one inserted row each, over as many connections.
"""

import argparse
import asyncio
import os
import resource
import subprocess
import sys
import tempfile
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from urllib.parse import quote

import psycopg
from hl7.mllp import open_hl7_connection

from tests.benchmarks.scores import percentile
from tests.servers import postgres

ROOT = Path(__file__).resolve().parent.parent.parent
ASKED = 100.0  # messages a second
SECOND = timedelta(seconds=1)
FOUND = """
from patients import programme
from patients.clock import now
from patients.models import Procedure
from education.assign import require
from education.models import Module
from education.publish import publish
from education.rules.module_text import read_module
from pathlib import Path
at = now()
programme.found(name="Larkfield", time_zone="America/Chicago", phone="(312) 555-0142", at=at)
procedure = Procedure.objects.create(code="SLV", name="Sleeve gastrectomy")
text = Path("education/starter/before_your_operation.toml").read_text()
publish(read_module(text), at=at, earlier_clearances_count=True)
require(procedure, Module.objects.get(), opens_days=-60, clear_by_days=-7, at=at)
"""


def messages_of(sender: int, count: int) -> list[bytes]:
    """Return the messages of one connection, each sent a second after the one before."""
    at = datetime.now(UTC) - timedelta(days=1)
    booked: list[tuple[int, int]] = []  # who, and on which of two days
    found = []
    for number in range(count):
        at += SECOND
        act = number % 10
        if act % 2 == 0:
            booked.append((number, 1))
            found.append(message(sender, number, number, 1, at=at, trigger="S12"))
        elif act == 9:
            found.append(message(sender, number, *booked.pop(0), at=at, trigger="S15"))
        elif act == 7:
            found.append(message(sender, number, *booked[-1], at=at, trigger="S14"))
        else:
            booked[-1] = (booked[-1][0], 2)
            found.append(message(sender, number, *booked[-1], at=at, trigger="S13"))
    return found


def message(sender: int, number: int, who: int, day: int, *, trigger: str, at: datetime) -> bytes:
    """Return one message about the patient `who` of a sender."""
    on = (datetime.now(UTC) + timedelta(days=40 + who % 200 + day)).strftime("%Y%m%d")
    status = "Cancelled" if trigger == "S15" else "Booked"
    surgeon = "IMRIE^HALE" if trigger == "S14" else "BRASK^OTTOLINE"
    born = f"19{50 + who % 50}{1 + sender % 12:02}{1 + who % 28:02}"
    name = f"Quill{letters(sender * 10_007 + who)}^Tobias{letters(who * 31 + sender)}"
    return "\r".join(
        (
            rf"MSH|^~\&|OR|LARK|CB|LARK|{at:%Y%m%d%H%M%S}+0000||SIU^{trigger}^SIU_S12|"
            f"{sender}-{number}|P|2.5.1||||||UNICODE UTF-8",
            f"SCH||{sender}-{who}^OR||||EV^event|||60|m|^^60^{on}0800^{on}0900|||||9^DESK||||"
            f"9^DESK|||||{status}",
            f"PID|1||M{sender}-{who}^^^LARK^MR||{name}||{born}|F|||||3125550101~"
            f"^NET^Internet^m{sender}.{who}@example.org||en",
            "RGS|1",
            "AIS|1|A|SLV^Sleeve gastrectomy",
            f"AIL|1|A|OR1^^^Larkfield East|||{'' if trigger == 'S15' else on + '0800'}",
            f"AIP|1|A|7^{surgeon}|SURGEON",
            "",
        )
    ).encode()


def letters(number: int) -> str:
    """Return a number as letters, so that names are names."""
    text = ""
    while number or not text:
        number, digit = divmod(number, 26)
        text += chr(97 + digit)
    return text


async def send(port: int, messages: list[bytes], answers: list[str], times: list[float]) -> None:
    """Send one connection's messages, each after the answer to the one before."""
    reader, writer = await open_hl7_connection("127.0.0.1", port)
    for one in messages:
        started = time.perf_counter()
        writer.writeblock(one)
        await writer.drain()
        answer = (await reader.readblock()).decode()
        times.append((time.perf_counter() - started) * 1000)
        answers.append(answer.split("\r")[1].split("|")[1])
    writer.close()


async def send_all(port: int, lots: list[list[bytes]]) -> tuple[float, list[str], list[float]]:
    """Send over all connections at once; return the seconds, the answers and the times in ms."""
    answers: list[str] = []
    times: list[float] = []
    started = time.perf_counter()
    await asyncio.gather(*(send(port, lot, answers, times) for lot in lots))
    return time.perf_counter() - started, answers, times


def floor(host: str, lots: list[list[bytes]]) -> float:
    """Insert as many rows, each in a transaction of its own; return the seconds."""
    with psycopg.connect(host=host, user="postgres", dbname="postgres", autocommit=True) as one:
        one.execute("CREATE TABLE IF NOT EXISTS bare (id serial PRIMARY KEY, content bytea)")

    def insert(lot: list[bytes]) -> None:
        with psycopg.connect(host=host, user="postgres", dbname="postgres", autocommit=True) as to:
            for content in lot:
                to.execute("INSERT INTO bare (content) VALUES (%s)", [content])

    threads = [threading.Thread(target=insert, args=(lot,)) for lot in lots]
    started = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return time.perf_counter() - started


def measure(host: str, environment: dict[str, str], connections: int, each: int) -> int:
    """Run the listener, send, print; 1 if it is slower than asked or an answer is not AA."""
    lots = [messages_of(sender, each) for sender in range(connections)]
    listener = subprocess.Popen(
        [sys.executable, "manage.py", "listen_mllp", "--port", "0"],
        cwd=ROOT,
        env=environment,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert listener.stdout
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    try:
        port = int(listener.stdout.readline().rsplit(":", 1)[1].strip(". \n"))
        asyncio.run(send_all(port, [messages_of(99, 20)]))  # warm
        bare = floor(host, lots)
        seconds, answers, times = asyncio.run(send_all(port, lots))
        bare = (bare + floor(host, lots)) / 2
    finally:
        listener.terminate()
        ended = listener.wait(30)
    with psycopg.connect(host=host, user="postgres", dbname="postgres") as to:
        came = to.execute("SELECT step, count(*) FROM patients_intakestep GROUP BY step").fetchall()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    worked = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    count = sum(map(len, lots))
    rate = count / seconds
    print(f"\n{count} messages over {connections} connections in {seconds:.1f} s")
    print(f"  a second            {rate:8.1f}   asked {ASKED:g}   {word(rate >= ASKED)}")
    print(f"  answer, p50 and p99 {percentile(times, 50):8.1f} {percentile(times, 99):8.1f} ms")
    print(
        f"  the listener's processor time {worked / count * 1000:.1f} ms a message, its start",
        end=" ",
    )
    print(f"included; the machine's load {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")
    print(f"  answered AA         {answers.count('AA'):8}   of {count}")
    print(f"  what came of them   {dict(came)}")
    print(f"  bare transactions   {count / bare:8.1f} a second; the listener takes", end=" ")
    print(f"{seconds / bare:.1f} times as long")
    print(f"  ended with          {ended}")
    return int(rate < ASKED or answers.count("AA") < count or ended != 0)


def word(kept: bool) -> str:
    """Say whether a target was kept."""
    return "kept" if kept else "MISSED"


def main() -> int:
    """Start a server, make the tables, measure."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--connections", type=int, default=20)
    parser.add_argument("--each", type=int, default=100, help="messages on each connection")
    options = parser.parse_args()
    with postgres() as server, tempfile.TemporaryDirectory(prefix="clear-by-mllp-") as data:
        environment = os.environ | {
            "DATABASE_URL": f"postgresql://postgres@{quote(server.host, safe='')}/postgres",
            "CLINIC_DATA_DIR": data,
            "LOG_LEVEL": "ERROR",
            "PYTHONUNBUFFERED": "1",
        }
        for command in (["migrate", "--verbosity", "0"], ["shell", "--command", FOUND]):
            subprocess.run(
                [sys.executable, "manage.py", *command], cwd=ROOT, env=environment, check=True
            )
        return measure(server.host, environment, options.connections, options.each)


if __name__ == "__main__":
    sys.exit(main())
