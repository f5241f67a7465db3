"""The programme's settings: each change is a new row, and the earlier one stays."""

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from clinic.models import Role
from patients import programme
from patients.clock import now
from patients.models import Programme
from tests.beside import Beside
from tests.factories import a_member, a_programme, signed_in
from tests.rendered_forms import form_to

pytestmark = pytest.mark.django_db


@pytest.fixture
def administrator() -> Client:
    a_programme()
    return signed_in(Role.ADMINISTRATOR)


def change(client: Client, **typed: str) -> Any:
    shown = form_to(client.get(reverse("programme")), "")
    return client.post(
        reverse("programme"), shown | {"matching": programme.current().matching} | typed
    )


def test_a_change_is_a_new_row_by_whom_and_the_rest_stays(administrator: Client) -> None:
    assert change(administrator, notice_days="14").status_code == 302
    before, after = Programme.objects.order_by("id")
    assert (before.notice_days, after.notice_days) == (10, 14)
    assert (after.name, after.time_zone) == (before.name, before.time_zone)
    assert after.by is not None
    text = " ".join(administrator.get(reverse("programme")).content.decode().split())
    assert "Notice, in days: 10 → 14" in text


def test_nothing_different_writes_nothing(administrator: Client) -> None:
    assert change(administrator).status_code == 302
    assert Programme.objects.count() == 1


@pytest.mark.parametrize(
    "wrong",
    [
        {"name": ""},
        {"time_zone": "Mountain"},
        {"time_zone": "../../etc/passwd"},
        {"notice_days": "-1"},
        {"attempts_allowed": "0"},
        {"link_valid_days": "0"},
        {"link_valid_days": "9" * 30},
        {"matching": "always"},
        {"phone": "5" * 41},
    ],
)
def test_what_cannot_be_is_refused_and_stays_typed(
    administrator: Client, wrong: dict[str, str]
) -> None:
    response = change(administrator, **wrong)
    assert response.status_code == 400
    assert set(response.context["form"].errors) == set(wrong)
    assert Programme.objects.count() == 1


def test_what_somebody_else_changed_while_the_page_was_open_stays(administrator: Client) -> None:
    """Else a page that is open since yesterday lets the rule match alone again."""
    shown = form_to(administrator.get(reverse("programme")), "")
    shown["matching"] = programme.current().matching
    assert change(administrator, matching="never").status_code == 302
    assert (
        administrator.post(reverse("programme"), shown | {"notice_days": "14"}).status_code == 302
    )
    settings = programme.current()
    assert (settings.matching, settings.notice_days) == ("never", 14)


@pytest.mark.parametrize("seen", ["", "x", "0", "9" * 30])
def test_a_form_that_does_not_say_what_it_showed_is_held_against_today(
    administrator: Client, seen: str
) -> None:
    assert change(administrator, notice_days="14", seen=seen).status_code == 302
    assert programme.current().notice_days == 14


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("minutes", [-1, 1])
def test_two_changes_at_once_both_stand(minutes: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whichever of the two began first by the clock."""
    a_programme()
    by, at = a_member(Role.ADMINISTRATOR).pk, now() + timedelta(hours=1)
    other = at + timedelta(minutes=minutes)
    beside = Beside(
        monkeypatch,
        programme,
        "current",
        lambda: programme.change(at=other, by_id=by, matching="never"),
    )
    programme.change(at=at, by_id=by, notice_days=14)
    beside.end()
    monkeypatch.undo()
    settings = programme.current()
    assert (settings.matching, settings.notice_days) == ("never", 14)
