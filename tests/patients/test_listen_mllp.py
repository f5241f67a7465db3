"""The MLLP listener over a real socket: what it answers, and what it survives."""

import asyncio
import logging
import ssl
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from pathlib import Path
from socket import create_connection, socket

import pytest
from django.core.management import CommandError, call_command
from django.db import OperationalError
from hl7.mllp import open_hl7_connection

from patients import mllp
from patients.clock import now
from patients.mllp_tls import tls_context
from patients.models import IntakeMessage, Operation, Patient
from patients.receive_siu import receive_all
from patients.rules.message_reading import MAX_MESSAGE_BYTES
from tests.factories import a_procedure, a_programme
from tests.hl7_messages import siu

pytestmark = pytest.mark.django_db(transaction=True)
START, END = b"\x0b", b"\x1c\r"


class Running:
    """A listener in a thread of its own."""

    def __init__(self, tls: ssl.SSLContext | None = None) -> None:
        self.port = 0
        self._tls = tls
        self._started = threading.Event()
        self._thread = threading.Thread(target=lambda: asyncio.run(self._run()), daemon=True)
        self._thread.start()
        assert self._started.wait(10)

    async def _run(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._listener = mllp.Listener("127.0.0.1", 0, self._tls)
        await self._listener.run(self._listening)

    def _listening(self, port: int) -> None:
        self.port = port
        self._started.set()

    def stop(self) -> None:
        """Ask it to end, and wait until it has; twice is once."""
        if not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._listener.stopping.set)
        self._thread.join(10)
        assert not self._thread.is_alive()

    def connect(self) -> socket:
        """Open a connection."""
        return create_connection(("127.0.0.1", self.port), timeout=10)


@pytest.fixture
def listener() -> Iterator[Running]:
    """A running listener, in a programme with one procedure."""
    a_programme(at=now() - timedelta(days=30))
    a_procedure()
    running = Running()
    yield running
    running.stop()


def today(**said: str) -> bytes:
    """Return a message that was sent a moment ago, for a day to come."""
    at = now()
    said = {"sent": f"{at:%Y%m%d%H%M%S%z}", "on": f"{at + timedelta(days=40):%Y%m%d}", **said}
    return siu(**said)  # type: ignore[arg-type]


def answer_on(connection: socket) -> list[list[str]]:
    """Read one acknowledgement: segments of fields. Empty when the connection was ended."""
    read = b""
    while not read.endswith(END):
        some = connection.recv(4096)
        if not some:
            return []
        read += some
    assert read.startswith(START)
    return [line.split("|") for line in read[1:-2].decode().split("\r") if line]


def asked(connection: socket, message: bytes) -> list[list[str]]:
    connection.sendall(START + message + END)
    return answer_on(connection)


def test_aa_once_it_is_committed(listener: Running) -> None:
    with listener.connect() as connection:
        msh, msa = asked(connection, today(control_id="77"))
        assert msa == ["MSA", "AA", "77"]
        assert msh[2:6] == ["CLEAR", "LARK", "OR", "LARK"], "sender and receiver change places"
        assert (msh[8], msh[10], msh[11]) == ("ACK^S12", "P", "2.5.1")
        assert Operation.objects.get().case_number == "C1^OR"
        # What waits for a person was taken too, and so was what is sent again.
        assert asked(connection, today(control_id="78", on=""))[1][1] == "AA"
        repeated = bytes(IntakeMessage.objects.get(control_id="77").content)
        assert asked(connection, repeated)[1] == ["MSA", "AA", "77"]
    assert IntakeMessage.objects.count() == 2


@pytest.mark.parametrize(
    ("said", "replaced", "code", "error"),
    [
        ({"mrn": ""}, {}, "AE", ["PID^1^3^1", "101^Required field missing^HL70357"]),
        ({"born": "19800230"}, {}, "AE", ["PID^1^7^1", "102^Data type error^HL70357"]),
        ({}, {"SIU^S12": "ADT^A01"}, "AR", ["MSH^1^9^1^1", "200^Unsupported message type^HL70357"]),
        ({}, {"SIU^S12": "SIU^S20"}, "AR", ["MSH^1^9^1^2", "201^Unsupported event code^HL70357"]),
        ({}, {"|P|": "|D|"}, "AR", ["MSH^1^11^1", "202^Unsupported processing id^HL70357"]),
        ({}, {"|2.5.1|": "|3|"}, "AR", ["MSH^1^12^1", "203^Unsupported version id^HL70357"]),
    ],
)
def test_ae_and_ar_name_the_field_and_no_patient(
    listener: Running,
    caplog: pytest.LogCaptureFixture,
    said: dict[str, str],
    replaced: dict[str, str],
    code: str,
    error: list[str],
) -> None:
    """ERR by HL7 2.5.1 chapter 2, section 2.15.5; codes of table 0357."""
    message = today(**said)
    for before, after in replaced.items():
        message = message.replace(before.encode(), after.encode())
    with listener.connect() as connection, caplog.at_level(logging.DEBUG):
        _, msa, err = asked(connection, message)
        assert (msa[1], err[2:4], err[4]) == (code, error, "E")
        assert asked(connection, message)[1][1] == code, "sent again it is answered the same"
    for fact in ("Quill", "Tobias", "19800203", "M1", "3125550101", "C1"):
        assert fact not in " ".join([*msa, *err]) + caplog.text
    assert not Patient.objects.exists()


def test_a_control_id_that_was_used_for_another_message(listener: Running) -> None:
    with listener.connect() as connection:
        asked(connection, today())
        _, msa, err = asked(connection, today(phone="3125550177"))
        assert (msa[1], err[3][:3]) == ("AE", "205")
    assert IntakeMessage.objects.count() == 1


def test_never_aa_while_the_database_is_down(
    listener: Running, monkeypatch: pytest.MonkeyPatch
) -> None:
    def down(*args: object, **kwargs: object) -> None:
        raise OperationalError("the database is down")

    with listener.connect() as connection:
        monkeypatch.setattr(mllp, "receive_all", down)
        _, msa, err = asked(connection, today())
        assert (msa[1], err[3][:3]) == ("AE", "207")
        monkeypatch.setattr(mllp, "receive_all", receive_all)
        assert asked(connection, today())[1][1] == "AA", "the sender has sent it again"


def test_a_connection_to_the_database_that_was_killed_costs_nothing(
    listener: Running, monkeypatch: pytest.MonkeyPatch
) -> None:
    failing = iter([True])

    def once_killed(*args: object, **kwargs: object) -> object:
        if next(failing, False):
            raise OperationalError("terminating connection")
        return receive_all(*args, **kwargs)  # type: ignore[arg-type]

    monkeypatch.setattr(mllp, "receive_all", once_killed)
    with listener.connect() as connection:
        assert asked(connection, today())[1][1] == "AA"


def test_many_connections_at_once(listener: Running) -> None:
    def send(sender: int) -> list[str]:
        letter = chr(97 + sender)
        with listener.connect() as connection:
            return [
                asked(
                    connection,
                    today(
                        control_id=f"{sender}-{number}",
                        mrn=f"M{sender}-{number}",
                        case=f"C{sender}-{number}",
                        name=f"Quill{letter}{chr(97 + number)}^Tobias{letter}",
                        born=f"19{50 + sender}0{1 + number}03",
                    ),
                )[1][1]
                for number in range(3)
            ]

    with ThreadPoolExecutor(8) as senders:
        answers = [answer for one in senders.map(send, range(8)) for answer in one]
    assert answers == ["AA"] * 24
    assert Operation.objects.count() == 24


def test_one_that_fails_does_not_take_the_others_with_it(
    listener: Running, monkeypatch: pytest.MonkeyPatch
) -> None:
    def not_this_one(arrived: object, **kwargs: object) -> object:
        time.sleep(0.2)  # so that the next ones wait, and come together
        if any(b"M-poison" in one.content for one in arrived):  # type: ignore[attr-defined]
            raise ValueError("something that nobody thought of")
        return receive_all(arrived, **kwargs)  # type: ignore[arg-type]

    monkeypatch.setattr(mllp, "receive_all", not_this_one)
    sent = [
        today(control_id=mrn, mrn=mrn, case=mrn, name=f"{name}^Ana", born=f"19{born}0203")
        for mrn, name, born in (
            ("M-1", "Quill", 50),
            ("M-poison", "Imrie", 60),
            ("M-2", "Brask", 70),
            ("M-3", "Ashdown", 80),
        )
    ]

    def send(message: bytes) -> str:
        with listener.connect() as connection:
            return asked(connection, message)[1][1]

    with ThreadPoolExecutor(4) as senders:
        assert list(senders.map(send, sent)) == ["AA", "AE", "AA", "AA"]


def test_what_is_no_mllp_ends_the_connection_and_nothing_else(
    listener: Running, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mllp, "READ_TIME", 0.3)
    with listener.connect() as other:
        with listener.connect() as connection:
            connection.sendall(b"GET / HTTP/1.1\r\n\r\n" + END)
            assert answer_on(connection) == []
        with listener.connect() as connection:
            connection.sendall(START + b"x" * (MAX_MESSAGE_BYTES * 2 + 10))
            assert answer_on(connection)[1][1] == "AR"
            assert answer_on(connection) == []
        with listener.connect() as connection:
            connection.sendall(START + today()[:50])  # begins, and does not go on
            started = time.monotonic()
            assert answer_on(connection) == []
            assert time.monotonic() - started < 5
        with listener.connect() as connection:
            connection.sendall(START + b"nothing of the kind" + END)
            assert answer_on(connection)[1][1] == "AE"
            assert asked(connection, today())[1][1] == "AA", "the connection goes on"
        assert asked(other, today(control_id="2"))[1][1] == "AA", "so do the others"


def test_what_is_under_way_is_answered_before_it_ends(
    listener: Running, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun = threading.Event()

    def slowly(*args: object, **kwargs: object) -> object:
        begun.set()
        time.sleep(0.5)
        return receive_all(*args, **kwargs)  # type: ignore[arg-type]

    monkeypatch.setattr(mllp, "receive_all", slowly)
    with listener.connect() as idle, listener.connect() as connection:
        connection.sendall(START + today() + END)
        assert begun.wait(5)
        listener.stop()
        assert answer_on(connection)[1][1] == "AA"
        assert answer_on(connection) == answer_on(idle) == []
    with pytest.raises(ConnectionError):
        listener.connect()


# --- the enhanced mode: HL7 2.5.1 chapter 2, section 2.9.3 (MSH-15, 16; tables 0155 and 0008) ----


def wanting(message: bytes, accept: str, application: str) -> bytes:
    """Fill MSH-15 and MSH-16 of a message of tests/hl7_messages.py."""
    return message.replace(b"|P|2.5.1||||||", f"|P|2.5.1|||{accept}|{application}||".encode(), 1)


def codes(connection: socket, message: bytes) -> list[str]:
    """Send a message and one that asks for nothing else than AA; return the answers to the first.

    The second one shows where the answers to the first end: one connection answers in order.
    """
    connection.sendall(START + message + END + START + b"MSH|^~\\&|X|||||||last|P|2.5.1" + END)
    read = b""
    while b"|last" not in read or not read.endswith(END):
        some = connection.recv(4096)
        assert some, "the connection was ended"
        read += some
    blocks = [one.strip(START) for one in read.split(END) if one.strip(START)]
    found = [block.decode().split("\r")[1].split("|") for block in blocks]
    return [msa[1] for msa in found if msa[2] != "last"]


GOOD, REFUSED, WRONG_TYPE = "good", "refused", "wrong type"


ENHANCED = [
    # Table 0155: AL always, NE never, ER on error or rejection only, SU on success only.
    ("AL", "AL", GOOD, ["CA", "AA"]),
    ("AL", "NE", GOOD, ["CA"]),
    ("AL", "", GOOD, ["CA"]),
    ("NE", "AL", GOOD, ["AA"]),
    ("", "AL", GOOD, ["AA"]),
    ("NE", "NE", GOOD, []),
    ("ER", "ER", GOOD, []),
    ("SU", "SU", GOOD, ["CA", "AA"]),
    ("AL", "ER", GOOD, ["CA"]),  # as in HL7's own S13 example, standards row HL7-1
    # It is kept, and its facts cannot be read: kept safely, and an error of the application.
    ("AL", "ER", REFUSED, ["CA", "AE"]),
    ("AL", "SU", REFUSED, ["CA"]),
    # What is not accepted for keeping has no second answer.
    ("AL", "AL", WRONG_TYPE, ["CR"]),
    ("ER", "AL", WRONG_TYPE, ["CR"]),
    ("SU", "AL", WRONG_TYPE, []),
    ("", "", GOOD, ["AA"]),
    ("", "", WRONG_TYPE, ["AR"]),
]


def test_the_enhanced_mode_answers_what_is_asked_for(listener: Running) -> None:
    with listener.connect() as connection:
        for number, (accept, application, what, expected) in enumerate(ENHANCED):
            message = today(control_id=f"e{number}", mrn="" if what == REFUSED else "M1")
            if what == WRONG_TYPE:
                message = message.replace(b"SIU^S12", b"ADT^A01")
            found = codes(connection, wanting(message, accept, application))
            assert found == expected, (accept, application, what)
    kept = sum(what != WRONG_TYPE for _, _, what, _ in ENHANCED)
    assert IntakeMessage.objects.count() == kept


def test_what_could_not_be_kept_is_ce_and_nothing_more(
    listener: Running, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*args: object, **kwargs: object) -> None:
        raise OperationalError("gone")

    monkeypatch.setattr(mllp, "receive_all", fails)
    with listener.connect() as connection:
        msh, msa, err = asked(connection, wanting(today(control_id="5"), "AL", "AL"))
    assert msa[:3] == ["MSA", "CE", "5"]
    assert err[3] == "207^Application internal error^HL70357"
    assert len(msh) == 12, "an accept acknowledgement asks for no answer by saying nothing"


# --- TLS, through the client of the hl7 package --------------------------------------------------

TLS = Path(__file__).resolve().parents[1] / "tls"  # an authority of the tests, and what it signed


def client_context(certificate: str = "") -> ssl.SSLContext:
    """A client that knows the authority, with a certificate of its own or without."""
    context = ssl.create_default_context(cafile=str(TLS / "ca.pem"))
    if certificate:
        context.load_cert_chain(TLS / certificate)
    return context


def through_tls(port: int, message: bytes, context: ssl.SSLContext) -> str:
    """Send a message as the hl7 package's client does, and return the answer's code."""

    async def ask() -> str:
        reader, writer = await open_hl7_connection("127.0.0.1", port, ssl=context)
        try:
            writer.writeblock(message)
            answer = await asyncio.wait_for(reader.readmessage(), 20)
        finally:
            writer.close()
        return str(answer.segment("MSA")(1))

    return asyncio.run(ask())


@pytest.fixture
def in_tls() -> Iterator[Running]:
    """A listener in TLS that asks for a certificate of the tests' authority."""
    a_programme(at=now() - timedelta(days=30))
    a_procedure()
    running = Running(tls_context(TLS / "server.pem", None, TLS / "ca.pem"))
    yield running
    running.stop()


def test_in_tls_it_answers_whom_it_knows_and_nobody_else(in_tls: Running) -> None:
    known = client_context("client.pem")
    assert through_tls(in_tls.port, today(control_id="1"), known) == "AA"
    for unknown in (client_context(), client_context("stranger.pem")):
        with pytest.raises((ssl.SSLError, ConnectionError, asyncio.IncompleteReadError)):
            through_tls(in_tls.port, today(control_id="2"), unknown)
    with in_tls.connect() as plain:
        plain.sendall(START + today(control_id="3") + END)
        assert answer_on_ended(plain), "without TLS nothing is answered"
    assert through_tls(in_tls.port, wanting(today(control_id="4"), "AL", "NE"), known) == "CA"
    assert set(IntakeMessage.objects.values_list("control_id", flat=True)) == {"1", "4"}


def answer_on_ended(connection: socket) -> bool:
    """Whether the connection is ended without an MLLP block."""
    try:
        return START not in connection.recv(4096)
    except ConnectionError:
        return True


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_an_old_version_of_tls_is_refused(in_tls: Running) -> None:
    """TLS 1.0 and 1.1 are not to be used: RFC 8996."""
    context = client_context("client.pem")
    context.minimum_version = ssl.TLSVersion.MINIMUM_SUPPORTED
    context.set_ciphers("ALL:@SECLEVEL=0")
    context.maximum_version = ssl.TLSVersion.TLSv1_1
    with pytest.raises((ssl.SSLError, ConnectionError)):
        through_tls(in_tls.port, today(), context)


def test_half_of_it_is_said_before_anybody_connects() -> None:
    """Never a listener without encryption where somebody meant one with it."""
    a_programme()
    server, nowhere = TLS / "server.pem", TLS / "nowhere.pem"
    for said, options in (
        ("TLS needs a certificate", {"tls_key": server}),
        ("TLS needs a certificate", {"tls_client_ca": TLS / "ca.pem"}),
        ("there is no such file", {"tls_cert": nowhere}),
        ("no certificate and key that fit", {"tls_cert": TLS / "ca.pem"}),
        ("no certificate and key that fit", {"tls_cert": server, "tls_key": TLS / "client.pem"}),
        ("there is no such file", {"tls_cert": server, "tls_client_ca": nowhere}),
    ):
        with pytest.raises(CommandError, match=said):
            call_command("listen_mllp", port=0, **options)
