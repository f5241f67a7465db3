"""Every view says who may open it; what says nothing is refused (clinic.middleware.Access)."""

from collections.abc import Callable
from typing import TypeVar

View = TypeVar("View", bound=Callable[..., object])

ANYONE = "anyone"  # no patient's facts stand on the page
LINK_HOLDER = "link_holder"  # the token in the address is the leave
TOKEN_HOLDER = "token_holder"  # the token in the request's header is the leave; no cookie


def open_to(*who: str) -> Callable[[View], View]:
    """Declare who may open a view: roles of `clinic.models.Role`, or one of the words above."""

    def declare(view: View) -> View:
        view.open_to = frozenset(who)  # type: ignore[attr-defined]
        return view

    return declare
