"""The look-up tables stay true to the register, whoever writes it; drift is found and mended."""

from datetime import UTC, date, datetime
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from patients import match_keys
from patients import merge as merging
from patients.conflicts import tried_again
from patients.duplicates import waiting
from patients.match_keys import keep, rebuild
from patients.merge import merge, undo_merge
from patients.models import MatchKey, MatchName, Patient
from patients.other_names import add, end
from patients.register import correct
from patients.rules.identity import NameKind
from patients.rules.identity_keys import keys_of
from patients.rules.names import normal_name
from tests.beside import Beside
from tests.factories import a_member, a_patient, a_programme

pytestmark = pytest.mark.django_db

AT = datetime(2026, 3, 2, 15, tzinfo=UTC)
BORN = date(1980, 3, 12)


def _ana(**facts: Any) -> Patient:
    usual: dict[str, Any] = {"given_names": "Ana", "family_names": "Ruiz", "birth_date": BORN}
    return a_patient(at=AT, **{**usual, **facts})


def _names(patient: Patient) -> set[tuple[str, str, str, date]]:
    rows = MatchName.objects.filter(patient=patient)
    return set(rows.values_list("kind", "given", "family", "birth_date"))


def test_enrolling_lays_name_and_keys() -> None:
    patient = _ana(given_names="Dr. Anä-María", family_names="O’Ruiz Jr.")
    name = MatchName.objects.get(patient=patient)
    assert (name.given, name.family, name.generation) == ("ana-maria", "oruiz", "2")
    keys = set(MatchKey.objects.filter(name=name).values_list("key", flat=True))
    assert keys == keys_of(normal_name("Dr. Anä-María", "O’Ruiz Jr."), BORN)


@pytest.mark.parametrize("letter", ["각", "ﷺ", "ﬃ"])  # become three, eighteen and three
def test_the_longest_name_has_room(letter: str) -> None:
    patient = _ana(given_names=letter * 200, family_names=letter * 200)
    name = MatchName.objects.get(patient=patient)
    normal = normal_name(letter * 200, letter * 200)
    assert (name.given, name.family) == (normal.given, normal.family)
    assert len(name.given) <= 420  # what PostgreSQL holds
    assert not rebuild(mend=False)


def test_correcting_moves_them() -> None:
    patient = _ana()
    correct(patient, at=AT, source="test", family_names="Whitcombe", birth_date=date(1980, 3, 13))
    assert _names(patient) == {("current", "ana", "whitcombe", date(1980, 3, 13))}
    assert not rebuild()


def test_an_address_alone_changes_none_of_them() -> None:
    patient = _ana()
    before = set(MatchName.objects.values_list("pk", flat=True))
    correct(patient, at=AT, source="test", email="new@example.org")
    assert set(MatchName.objects.values_list("pk", flat=True)) == before


def test_other_names_come_and_go() -> None:
    a_programme(at=AT)
    patient, by_id = _ana(), a_member("dietitian").pk
    former = add(
        patient,
        kind=NameKind.FORMER,
        given_names="Ana",
        family_names="Falk",
        at=AT,
        by_id=by_id,
        source="test",
    )
    assert ("former", "ana", "falk", BORN) in _names(patient)
    end(former, reason="a slip", at=AT, by_id=by_id)
    assert _names(patient) == {("current", "ana", "ruiz", BORN)}
    assert not rebuild()


def test_a_merged_record_is_found_as_the_one_that_was_kept() -> None:
    a_programme(at=AT)
    kept, merged = _ana(), _ana(family_names="Falk", birth_date=date(1980, 12, 3))
    by_id = a_member("dietitian").pk
    done = merge(kept, merged, reason="one person", at=AT, by_id=by_id)
    assert _names(kept) == {
        ("current", "ana", "ruiz", BORN),
        ("former", "ana", "falk", date(1980, 12, 3)),
    }
    assert not _names(merged)
    undo_merge(done, reason="two people", at=AT, by_id=by_id)
    assert _names(kept) == {("current", "ana", "ruiz", BORN)}
    assert _names(merged) == {("current", "ana", "falk", date(1980, 12, 3))}
    assert not rebuild()


def test_keeping_twice_changes_nothing() -> None:
    patient = _ana()
    before = list(MatchName.objects.values_list("pk", flat=True))
    keep([patient.pk])
    keep([patient.pk, patient.pk])
    assert list(MatchName.objects.values_list("pk", flat=True)) == before


def _drift() -> tuple[Patient, Patient, Patient]:
    without_name, without_key, another_name = (_ana(family_names=f"Ruiz{n}") for n in "abc")
    MatchName.objects.filter(patient=without_name).delete()
    MatchKey.objects.filter(name__patient=without_key).first().delete()  # type: ignore[union-attr]
    MatchName.objects.filter(patient=another_name).update(given="eva")
    return without_name, without_key, another_name


def test_names_in_the_form_of_an_older_version_are_found_after_an_upgrade() -> None:
    """By schedule files as well; and their duplicates are looked for again."""
    patient, same = _ana(), _ana(family_names="Sound")
    MatchName.objects.filter(patient=patient).update(given="an~a", family="rvjz")
    Patient.objects.filter(pk=same.pk).update(name_key="sovnd")
    Patient.objects.update(compare_with_register=False)
    said = StringIO()
    call_command("migrate", stdout=said)
    assert "The look-up keys of 2 of 2 patients were made anew." in said.getvalue()
    assert _names(patient) == {("current", "ana", "ruiz", BORN)}
    same.refresh_from_db()
    assert same.name_key == "ana sound"
    assert set(waiting()) == {patient, same}
    Patient.objects.update(compare_with_register=False)
    said = StringIO()
    call_command("migrate", stdout=said)
    assert "look-up" not in said.getvalue(), "nothing is said of nothing"
    assert not waiting()


@pytest.mark.django_db(transaction=True)
def test_who_corrects_a_name_while_the_tables_are_rebuilt_waits(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Else the name that was read before is written over the one that was just corrected."""
    patient = _ana()
    corrects = Beside(
        monkeypatch,
        match_keys,
        "known_names",
        lambda: correct(patient, at=AT, source="test", family_names="Whitcombe"),
    )
    assert not rebuild()
    corrects.end()
    assert _names(patient) == {("current", "ana", "whitcombe", BORN)}
    assert not rebuild(mend=False)


@pytest.mark.django_db(transaction=True)
def test_rebuilding_and_a_merge_that_lock_crosswise_both_succeed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A record that was merged before, of a lower number, is locked last by the next merge."""
    by = a_member("dietitian").pk
    first, kept, merged = _ana(), _ana(), _ana()
    merge(merged, first, reason="one", at=AT, by_id=by)
    # PostgreSQL ends whoever has waited for a second, which is to be the rebuilding.
    rebuilding = Beside(monkeypatch, merging, "_locked", rebuild, at_most=0.2)
    tried_again(merge)(kept, merged, reason="one", at=AT, by_id=by)
    assert not rebuilding.end()
    first.refresh_from_db()
    assert first.merged_into == kept


def test_rebuilding_finds_drift_mends_it_and_says_so() -> None:
    without_name, without_key, another_name = _drift()
    _ana(family_names="Sound")
    drift = rebuild()
    assert drift.patients == 4
    assert drift.missing == {without_name.pk, without_key.pk, another_name.pk}
    assert drift.leftover == {without_key.pk, another_name.pk}
    assert not rebuild()


def test_the_command_reports_by_record_never_by_name() -> None:
    _drift()
    said = StringIO()
    with pytest.raises(CommandError, match="drifted"):
        call_command("rebuild_match_keys", "--check", stdout=said)
    assert "3 could not be found" in said.getvalue()
    assert MatchName.objects.filter(given="eva").exists(), "only looked"
    call_command("rebuild_match_keys", "--duplicates", stdout=said)
    assert "Mended." in said.getvalue()
    assert "3 records compared" in said.getvalue()
    call_command("rebuild_match_keys", "--check", stdout=said)
    assert "The look-up tables are true." in said.getvalue()
    assert "ruiz" not in said.getvalue().lower()
