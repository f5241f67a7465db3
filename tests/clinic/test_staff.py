"""Staff accounts: for the administrator."""

import pytest
from django.test import Client
from django.urls import reverse

from clinic.models import Role, StaffUser, TrailEntry
from tests.factories import PASSWORD, a_member, a_programme, signed_in
from tests.rendered_forms import form_to

pytestmark = pytest.mark.django_db

NEW_PASSWORD = "the-larch-at-the-gate"


@pytest.fixture
def administrator() -> Client:
    a_programme()
    return signed_in(Role.ADMINISTRATOR)


def take_on(client: Client, **typed: str) -> int:
    shown = form_to(client.get(reverse("staff")), "")
    someone = {
        "name": "Odalys Fenwick",
        "email": "odalys@larkfield.example",
        "role": "dietitian",
        "password": NEW_PASSWORD,
    }
    return client.post(reverse("staff"), shown | someone | typed).status_code


def test_somebody_taken_on_can_sign_in_as_what_they_are(administrator: Client) -> None:
    assert take_on(administrator) == 302
    someone = StaffUser.objects.get(email="odalys@larkfield.example")
    assert (someone.role, someone.is_active) == (Role.DIETITIAN, True)
    typed = {"username": someone.email, "password": NEW_PASSWORD}
    assert Client().post(reverse("sign-in"), typed).status_code == 302


@pytest.mark.parametrize(
    "wrong",
    [
        {"name": ""},
        {"email": "no address"},
        {"role": "king"},
        {"password": "short"},
        {"password": "odalys@larkfield"},
        {"name": "x" * 121},
    ],
)
def test_what_is_wrong_is_said_and_nobody_is_taken_on(
    administrator: Client, wrong: dict[str, str]
) -> None:
    assert take_on(administrator, **wrong) == 400
    assert StaffUser.objects.count() == 1


def test_one_address_one_account_whatever_the_case(administrator: Client) -> None:
    assert take_on(administrator) == 302
    assert take_on(administrator, email="ODALYS@larkfield.example") == 400


def test_disabling_stops_the_next_request_and_can_be_undone(administrator: Client) -> None:
    """T1, fault 29."""
    someone = a_member(Role.COORDINATOR)
    theirs = signed_in(someone)
    assert theirs.get(reverse("operations")).status_code == 200
    act = reverse("staff-active", args=[someone.pk])
    shown = form_to(administrator.get(reverse("staff-member", args=[someone.pk])), act)
    administrator.post(act, shown | {"active": "no"})
    assert theirs.get(reverse("operations")).status_code == 302
    typed = {"username": someone.email, "password": PASSWORD}
    assert Client().post(reverse("sign-in"), typed).status_code == 200  # refused
    shown = form_to(administrator.get(reverse("staff-member", args=[someone.pk])), act)
    administrator.post(act, shown | {"active": "yes"})
    assert Client().post(reverse("sign-in"), typed).status_code == 302


def test_another_role_holds_from_the_next_request(administrator: Client) -> None:
    someone = a_member(Role.COORDINATOR)
    theirs = signed_in(someone)
    assert theirs.get(reverse("trail")).status_code == 403
    act = reverse("staff-member", args=[someone.pk])
    shown = form_to(administrator.get(act), "", act="role")
    administrator.post(act, shown | {"role": "auditor"})
    assert theirs.get(reverse("trail")).status_code == 200
    detail = TrailEntry.objects.filter(act="POST staff-member").get().detail
    assert (detail["role_before"], detail["role"]) == ("coordinator", "auditor")


def test_a_new_password_ends_their_sessions(administrator: Client) -> None:
    someone = a_member(Role.COORDINATOR)
    theirs = signed_in(someone)
    act = reverse("staff-member", args=[someone.pk])
    shown = form_to(administrator.get(act), "", act="password")
    assert administrator.post(act, shown | {"password": "short"}).status_code == 400
    shown = form_to(administrator.get(act), "", act="password")
    administrator.post(act, shown | {"password": NEW_PASSWORD})
    assert theirs.get(reverse("operations")).status_code == 302
    assert not TrailEntry.objects.filter(detail__icontains=NEW_PASSWORD).exists()


@pytest.mark.parametrize("change", ["disable", "role"])
def test_the_last_administrator_stays(administrator: Client, change: str) -> None:
    me = StaffUser.objects.get()
    page = administrator.get(reverse("staff-member", args=[me.pk]))
    if change == "disable":
        act = reverse("staff-active", args=[me.pk])
        administrator.post(act, form_to(page, act) | {"active": "no"})
    else:
        act = reverse("staff-member", args=[me.pk])
        administrator.post(act, form_to(page, "", act="role") | {"role": "auditor"})
    me.refresh_from_db()
    assert (me.is_active, me.role) == (True, Role.ADMINISTRATOR)
