"""What every response says to the browser (promise T2)."""

import re
from typing import Any

import pytest
from django.test import Client

from clinic.models import Role
from patients.open_to import LINK_HOLDER, TOKEN_HOLDER
from tests.every_route import Route, every_route, sample_records
from tests.factories import a_member, a_programme, signed_in

# Inline styles, inline scripts, event attributes and addresses that run: the policy forbids them.
INLINE = re.compile(
    r"""<[^>]*\s(?:style|on[a-z]+)\s*=|<style\b|<script\b(?![^>]*\ssrc=)|javascript:""", re.I
)
ELSEWHERE = re.compile(r"""(?:src|href|action)\s*=\s*["']?(?:https?:)?//""", re.I)


def policy(response: Any) -> dict[str, list[str]]:
    """Return the content security policy by directive."""
    parts = [part.split() for part in response["Content-Security-Policy"].split(";") if part]
    return {part[0]: part[1:] for part in parts}


def check(response: Any, address: str) -> None:
    given = policy(response)
    assert given["frame-ancestors"] == ["'none'"], address
    assert given["default-src"] == ["'self'"], address
    assert not [s for sources in given.values() for s in sources if "unsafe" in s], address
    assert response["X-Content-Type-Options"] == "nosniff", address
    assert response["X-Frame-Options"] == "DENY", address
    if address == "teaching-file" and response.status_code == 200:
        assert "immutable" in response["Cache-Control"]
    else:
        assert "no-store" in response["Cache-Control"], address
    assert response["Referrer-Policy"] == "same-origin", address
    if response.get("Content-Type", "").startswith("text/html"):
        page = response.content.decode()
        assert not INLINE.search(page), f"{address}: {INLINE.search(page)}"
        assert not ELSEWHERE.search(page), f"{address}: {ELSEWHERE.search(page)}"


class Browsers:
    """One browser for each role, and one that is signed in nowhere."""

    def __init__(self) -> None:
        self._of: dict[Role, Client] = {role: signed_in(role) for role in Role}
        self.nobody = Client()

    def allowed(self, route: Route) -> Client:
        """Return the first that may open a route: what a page says does not hang on the role."""
        roles = [role for role in Role if role in route.view.open_to]
        return self._of[roles[0]] if roles else self.nobody


@pytest.mark.django_db
def test_pages_that_are_no_route_carry_the_headers_and_nothing_inline() -> None:
    """Every route, opened by every role, is looked at in test_access.py."""
    a_programme()
    administrator = signed_in(Role.ADMINISTRATOR)
    for address in ("/nowhere/", "/operations/?q=a", "/operations/?show=passed", "/trail/?check=1"):
        check(administrator.get(address), address)


@pytest.mark.django_db
def test_pages_after_a_refused_form_carry_them_too() -> None:
    a_programme()
    sample = sample_records(a_member(Role.ADMINISTRATOR))
    browsers = Browsers()
    for route in every_route():
        if route.name != "sign-out":
            response = browsers.allowed(route).post(route.address(sample), {"act_key": "x"})
            check(response, route.name)


@pytest.mark.django_db
def test_a_form_from_another_site_is_refused_on_every_route() -> None:
    """Django's own check, with its token left out."""
    a_programme()
    sample = sample_records(a_member(Role.ADMINISTRATOR))
    client = Client(enforce_csrf_checks=True)
    client.force_login(
        a_member(Role.CLINICIAN), backend="django.contrib.auth.backends.ModelBackend"
    )
    for route in every_route():
        # There no cookie gives any leave that could be misused; a shared screen opens by a code.
        if route.view.open_to & {LINK_HOLDER, TOKEN_HOLDER} or route.name == "kiosk":
            continue
        response = client.post(route.address(sample))
        assert response.status_code in (403, 404, 405), f"{route.name}: {response.status_code}"
        check(response, route.name)
