"""Founding a programme by command, as an installation does it first."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from clinic.models import Role, StaffUser
from education.models import Edition, Module
from education.signing import unsigned
from patients import programme

FACTS = {
    "name": "Alder Hill Programme",
    "time_zone": "America/Chicago",
    "phone": "312-555-0144",
    "admin_name": "Petra Lindqvist",
    "admin_email": "petra@alderhill.example",
}


@pytest.fixture(autouse=True)
def password(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CLINIC_ADMIN_PASSWORD", "quiet-harbour-lamp")


@pytest.mark.django_db
def test_founding_writes_programme_administrator_and_starter_modules() -> None:
    out = StringIO()
    call_command("found", **FACTS, stdout=out)
    founded = programme.current()
    administrator = StaffUser.objects.get()
    assert (founded.name, founded.time_zone) == (FACTS["name"], FACTS["time_zone"])
    assert founded.by == administrator
    assert administrator.role == Role.ADMINISTRATOR
    assert administrator.check_password("quiet-harbour-lamp")
    assert Edition.objects.count() == 3
    assert unsigned() == set(Module.objects.values_list("pk", flat=True))  # nobody read them yet
    assert "clinicians" in out.getvalue()


@pytest.mark.django_db
def test_founding_twice_is_refused() -> None:
    call_command("found", **FACTS, stdout=StringIO())
    with pytest.raises(CommandError, match="founded already"):
        call_command("found", **FACTS, stdout=StringIO())


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"time_zone": "Mars/Olympus"}, "time zone"),
        ({"admin_email": "petra"}, "email"),
        ({"phone": ""}, "--phone"),
    ],
)
def test_a_wrong_fact_founds_nothing(
    wrong: dict[str, str], said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", StringIO())
    with pytest.raises(CommandError, match=said):
        call_command("found", **FACTS | wrong, stdout=StringIO())
    assert not StaffUser.objects.exists()
