"""The head of a page offers what a role opens each day; everything else is one page away."""

import re

import pytest
from django.urls import reverse

from clinic.models import Role
from clinic.places import EACH_DAY, PLACES, open_to_role
from clinic.roles import REGISTRARS
from tests.factories import a_programme, signed_in

pytestmark = pytest.mark.django_db


def test_each_role_has_at_most_six_links_and_each_page_that_it_may_open_is_one_away() -> None:
    a_programme()
    for role in Role:
        may_open = {place.name: place.url for place in open_to_role(role)}
        assert set(EACH_DAY[role]) <= set(may_open), f"{role} is offered a closed page"
        page = signed_in(role).get(reverse("all-pages")).content.decode()
        head, _, main = page.partition("</nav>")
        offered = re.findall(r'href="([^"]+)"', head.partition("<nav")[2])
        assert offered == [*(may_open[name] for name in EACH_DAY[role]), reverse("all-pages")]
        assert len(offered) <= 6
        for place in PLACES:
            assert (f'href="{place.url}"' in main) == (place.name in may_open), (role, place.name)


@pytest.mark.parametrize("role", REGISTRARS)
def test_whoever_may_try_the_matching_is_led_there(role: Role) -> None:
    a_programme()
    page = signed_in(role).get(reverse("all-pages")).content.decode()
    assert f'<a href="{reverse("rehearsal")}">Try the matching</a>' in page


def test_the_page_that_is_shown_is_in_the_head_too_and_says_so() -> None:
    a_programme()
    page = signed_in(Role.DIETITIAN).get(reverse("duplicates")).content.decode()
    assert f'<a href="{reverse("duplicates")}" aria-current="page">Duplicates</a>' in page
