"""Signing in and out, the lock-out, and where one lands."""

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from clinic.models import Role, StaffUser, TrailEntry
from tests.factories import PASSWORD, a_member, a_programme, signed_in
from tests.rendered_forms import forms_of

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def programme() -> None:
    a_programme()


def sign_in(client: Client, member: StaffUser, password: str = PASSWORD, **more: str) -> Any:
    typed = {"username": member.email, "password": password, **more}
    return client.post(reverse("sign-in"), typed)


@pytest.mark.parametrize(
    "role, page",
    [
        (Role.DIETITIAN, "morning"),
        (Role.CLINICIAN, "morning"),
        (Role.ADMINISTRATOR, "morning"),
        (Role.COORDINATOR, "operations"),
        (Role.AUDITOR, "trail"),
    ],
)
def test_everybody_lands_where_their_day_begins(role: Role, page: str) -> None:
    client = Client()
    assert sign_in(client, a_member(role)).url == "/"
    assert client.get("/")["Location"] == reverse(page)
    assert client.get(reverse(page)).status_code == 200


def test_the_address_signs_in_whatever_its_case() -> None:
    member = a_member(Role.DIETITIAN, email="imogen@larkfield.example")
    member.email = "Imogen@LARKFIELD.example"
    assert sign_in(Client(), member).status_code == 302


def test_a_wrong_password_and_an_unknown_address_get_the_same_words() -> None:
    member = a_member(Role.DIETITIAN)
    wrong = sign_in(Client(), member, "not-the-password")
    member.email = "nobody@larkfield.example"
    unknown = sign_in(Client(), member)
    assert wrong.context["form"].errors == unknown.context["form"].errors
    assert "do not fit together" in wrong.content.decode()


def test_after_ten_wrong_tries_it_is_closed_even_for_the_right_password() -> None:
    """The address is typed in another case each time: that must not start the count anew."""
    member, client = a_member(Role.DIETITIAN, email="imogen@larkfield.example"), Client()
    right = member.email
    for number in range(10):
        member.email = right[:number].upper() + right[number:]
        sign_in(client, member, "not-the-password")
    member.email = right
    response = sign_in(client, member)
    assert response.status_code == 429
    assert "15 minutes" in response.content.decode()
    assert reverse("sign-in") in client.get("/")["Location"]


@pytest.mark.parametrize(
    "asked, lands",
    [
        ("/operations/?week=2027-01-04", "/operations/?week=2027-01-04"),
        ("https://elsewhere.example/", "/"),
        ("//elsewhere.example/", "/"),
        ("javascript:alert(1)", "/"),
    ],
)
def test_next_leads_only_to_our_own_pages(asked: str, lands: str) -> None:
    assert sign_in(Client(), a_member(Role.COORDINATOR), next=asked).url == lands


def test_a_page_that_needs_signing_in_is_where_one_lands_afterwards() -> None:
    client = Client()
    response = client.get("/operations/?q=a", follow=True)
    assert response.redirect_chain[-1][0] == "/sign-in/?next=/operations/%3Fq%3Da"
    form = forms_of(response)[-1]
    assert form.fields["next"] == "/operations/?q=a"


def test_signing_in_makes_a_new_session_key() -> None:
    client, member = Client(), a_member(Role.DIETITIAN)
    client.get(reverse("sign-in"))
    before = client.session.session_key
    sign_in(client, member)
    assert client.session.session_key != before


def test_signing_out_needs_a_post_and_ends_the_session() -> None:
    client = signed_in(Role.COORDINATOR)
    assert client.get(reverse("sign-out")).status_code == 405
    assert client.get(reverse("operations")).status_code == 200
    client.post(reverse("sign-out"))
    assert client.get(reverse("operations")).status_code == 302


def test_coming_and_going_is_in_the_trail() -> None:
    client, member = Client(), a_member(Role.COORDINATOR)
    sign_in(client, member, "not-the-password")
    sign_in(client, member)
    client.post(reverse("sign-out"))
    acts = list(TrailEntry.objects.order_by("id").values_list("act", "by"))
    assert acts == [
        ("sign-in failed", None),
        ("signed in", member.pk),
        ("signed out", member.pk),
    ]
    assert TrailEntry.objects.order_by("id")[0].detail == {"account": member.pk}


def test_a_password_typed_into_the_address_field_is_kept_nowhere() -> None:
    member = a_member(Role.COORDINATOR)
    member.email = PASSWORD
    sign_in(Client(), member)
    assert not TrailEntry.objects.filter(detail__icontains=PASSWORD).exists()


@pytest.mark.parametrize("field", ["username", "password"])
def test_a_hundred_kilobytes_are_refused(field: str) -> None:
    """T6."""
    typed = {"username": "a@larkfield.example", "password": PASSWORD} | {field: "x" * 100_000}
    response = Client().post(reverse("sign-in"), typed)
    assert response.status_code in (200, 400, 413)
    assert reverse("sign-in") in Client().get("/")["Location"]


def test_a_new_password_ends_the_other_sessions_and_keeps_this_one() -> None:
    member = a_member(Role.COORDINATOR)
    here, elsewhere = signed_in(member), signed_in(member)
    new = "the-larch-at-the-gate"
    response = here.post(
        reverse("password"),
        {"old_password": PASSWORD, "new_password1": new, "new_password2": new},
        follow=True,
    )
    assert "Your password is changed" in response.content.decode()
    assert here.get(reverse("operations")).status_code == 200
    assert elsewhere.get(reverse("operations")).status_code == 302
    assert sign_in(Client(), member, new).status_code == 302


@pytest.mark.parametrize("new", ["short", "123456789012", "password1234", "x" * 100_000])
def test_a_weak_password_is_refused(new: str) -> None:
    response = signed_in(Role.COORDINATOR).post(
        reverse("password"),
        {"old_password": PASSWORD, "new_password1": new, "new_password2": new},
    )
    assert response.status_code == 200
    assert response.context["form"].errors
