"""The demo's invented programme."""

from collections.abc import Callable
from datetime import date

TIME_ZONE = "America/Chicago"
# Role, email, password: one for each role.
LOGINS: list[tuple[str, str, str]] = []


def build(on: date, progress: Callable[[str], None]) -> None:
    """Loads the scenario as of the day `on`."""
    raise NotImplementedError
