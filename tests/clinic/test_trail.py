"""The trail is append-only and chained, and tampering shows (promise T4)."""

import io
import logging
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection, transaction
from django.urls import reverse

from clinic.models import Role, TrailEntry
from clinic.tasks import log_trail_seal
from clinic.trail import Seal, chain_hash, first_broken, first_broken_seal, record, seal
from patients.append_only import drop_statements
from patients.clock import now
from tests.factories import a_member, a_patient, a_programme, signed_in

TABLE = TrailEntry._meta.db_table


def written(count: int = 6) -> list[int]:
    """Write entries; return their ids."""
    by = a_member(Role.AUDITOR).pk
    return [
        record(act="looked", at=now(), by_id=by, detail={"number": number}).pk
        for number in range(count)
    ]


def tamper(*statements: str) -> None:
    """What somebody with the database's own password could do: the triggers go first."""
    with connection.cursor() as cursor:
        for statement in [*drop_statements(connection, [TABLE]), *statements]:
            cursor.execute(statement)


def relinked(entry_id: int, before: str) -> str:
    """Make an entry follow another hash and hash it anew, as a forger would."""
    entry = TrailEntry.objects.get(pk=entry_id)
    entry.before = before
    return (
        f"UPDATE {TABLE} SET before = '{before}', hash = '{chain_hash(entry)}' "
        f"WHERE id = {entry_id}"
    )


def edit(ids: list[int]) -> None:
    tamper(f"UPDATE {TABLE} SET act = 'nothing' WHERE id = {ids[2]}")


def delete_from_the_middle(ids: list[int]) -> None:
    tamper(f"DELETE FROM {TABLE} WHERE id = {ids[2]}")


def insert(ids: list[int]) -> None:
    entry = TrailEntry.objects.get(pk=ids[2])
    forged = TrailEntry(
        act="forged", recorded_at=entry.recorded_at, by_id=entry.by_id, before=entry.hash
    )
    tamper(
        f"INSERT INTO {TABLE} (recorded_at, act, detail, before, hash) "
        f"SELECT recorded_at, 'forged', detail, hash || 'x', '{chain_hash(forged)}' "
        f"FROM {TABLE} WHERE id = {ids[2]}".replace("hash || 'x'", "'f'")
    )


def reorder(ids: list[int]) -> None:
    tamper(
        f"UPDATE {TABLE} SET id = -1 WHERE id = {ids[1]}",
        f"UPDATE {TABLE} SET id = {ids[1]} WHERE id = {ids[2]}",
        f"UPDATE {TABLE} SET id = {ids[2]} WHERE id = -1",
    )


def change_the_actor(ids: list[int]) -> None:
    other = a_member(Role.DIETITIAN).pk
    tamper(f"UPDATE {TABLE} SET by_id = {other} WHERE id = {ids[2]}")


def cut_and_relink_one(ids: list[int]) -> None:
    """The entry after the gap is linked over it and hashed anew; the next one gives it away."""
    before = TrailEntry.objects.get(pk=ids[1]).hash
    tamper(f"DELETE FROM {TABLE} WHERE id = {ids[2]}", relinked(ids[3], before))


def move_to_another_patient(ids: list[int]) -> None:
    patient = a_patient().pk
    tamper(f"UPDATE {TABLE} SET patient_id = {patient} WHERE id = {ids[2]}")


@pytest.mark.django_db
@pytest.mark.parametrize(
    "tampering",
    [
        edit,
        delete_from_the_middle,
        insert,
        reorder,
        change_the_actor,
        cut_and_relink_one,
        move_to_another_patient,
    ],
)
def test_the_chain_shows_tampering(tampering: Callable[[list[int]], None]) -> None:
    ids = written()
    call_command("verify_trail", stdout=io.StringIO())
    tampering(ids)
    with pytest.raises(CommandError, match=r"breaks at entry \d+"):
        call_command("verify_trail")


def cut_the_end(ids: list[int]) -> None:
    tamper(f"DELETE FROM {TABLE} WHERE id >= {ids[4]}")


def cut_everything(ids: list[int]) -> None:
    tamper(f"DELETE FROM {TABLE}")


def write_anew_from_the_middle(ids: list[int]) -> None:
    """An entry is changed and every later one hashed anew: the chain fits again."""
    tamper(f"UPDATE {TABLE} SET act = 'nothing' WHERE id = {ids[2]}")
    before = TrailEntry.objects.get(pk=ids[1]).hash
    for entry_id in ids[2:]:
        tamper(relinked(entry_id, before))
        before = TrailEntry.objects.get(pk=entry_id).hash


@pytest.mark.django_db
@pytest.mark.parametrize("tampering", [cut_the_end, cut_everything, write_anew_from_the_middle])
def test_what_the_chain_alone_cannot_show_the_logged_seals_do(
    tampering: Callable[[list[int]], None], tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """The chain of what is left still fits; the second witness stands in the log."""
    ids = written()
    with caplog.at_level(logging.INFO, logger="clinic.tasks"):
        log_trail_seal()
    log = tmp_path / "log"
    log.write_text("\n".join(caplog.messages))
    call_command("verify_trail", seals=str(log), stdout=io.StringIO())
    tampering(ids)
    assert first_broken() is None
    with pytest.raises(CommandError, match="does not bear out the seal"):
        call_command("verify_trail", seals=str(log))


@pytest.mark.django_db
def test_an_earlier_seal_still_holds_after_more_was_written() -> None:
    assert first_broken_seal([seal()]) is None  # of an empty trail
    written(3)
    early = seal()
    written(3)
    assert first_broken_seal([early, seal()]) is None
    assert first_broken_seal([Seal(early.count, "0" * 64)]) is not None


@pytest.mark.django_db
@pytest.mark.parametrize("verb", ["UPDATE {} SET act = 'x'", "DELETE FROM {}"])
def test_the_database_itself_refuses_to_change_the_trail(verb: str) -> None:
    written(2)
    with (
        pytest.raises(DatabaseError, match="append only"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(verb.format(TABLE))
    assert TrailEntry.objects.count() == 2


@pytest.mark.django_db(transaction=True)
def test_fifty_parallel_writers_break_nothing() -> None:
    by = a_member(Role.AUDITOR).pk

    def write(number: int) -> None:
        try:
            record(act="looked", at=now(), by_id=by, detail={"number": number})
        finally:
            connection.close()

    with ThreadPoolExecutor(50) as pool:
        list(pool.map(write, range(50)))
    assert TrailEntry.objects.count() == 50
    assert first_broken() is None


@pytest.mark.django_db
def test_the_page_filters_pages_and_checks() -> None:
    a_programme()
    patient, by = a_patient(mrn="MRN-T-1"), a_member(Role.DIETITIAN)
    record(act="GET patient", at=now(), by_id=by.pk, patient_id=patient.pk)
    for _ in range(120):
        record(act="POST send-link", at=now(), by_id=None)
    client = signed_in(Role.AUDITOR)
    first = client.get(reverse("trail"))  # signing in is an entry too
    assert len(first.context["shown"]) == 100
    rest = client.get(reverse("trail"), {"before": first.context["next"]})
    assert len(rest.context["shown"]) == 22
    assert [s.act for s in client.get(reverse("trail"), {"mrn": "mrn-t-1"}).context["shown"]] == [
        "looked at: patient"
    ]
    assert len(client.get(reverse("trail"), {"staff": by.pk}).context["shown"]) == 1
    assert "No patient has this MRN" in client.get(reverse("trail"), {"mrn": "?"}).content.decode()
    assert "the chain is whole" in client.get(reverse("trail"), {"check": 1}).content.decode()


@pytest.mark.django_db
@pytest.mark.parametrize("name", ["staff", "before", "mrn"])
@pytest.mark.parametrize("typed", ["x", "-1", "9" * 400, "１", "' OR 1=1", "\x00"])
def test_odd_filters_break_nothing(name: str, typed: str) -> None:
    a_programme()
    assert signed_in(Role.AUDITOR).get(reverse("trail"), {name: typed}).status_code == 200
