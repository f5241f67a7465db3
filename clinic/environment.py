"""Read the environment: each setting, secrets from files too, and everything that is wrong at once.

Whoever starts a process wants one list of what to put right, not the first problem of ten. So what
cannot be used is noted, a harmless value is returned in its place, and `complain` says all of it.
"""

from collections.abc import Mapping
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

TRUE = {"1", "true", "yes", "on"}
FALSE = {"0", "false", "no", "off"}


class Environment:
    """The variables that a process was started with, and what is wrong with them."""

    def __init__(self, values: Mapping[str, str]) -> None:
        self.values = values
        self.problems: list[str] = []

    def wrong(self, problem: str) -> None:
        """Note a problem; `complain` tells it."""
        self.problems.append(problem)

    def text(self, name: str, default: str = "") -> str:
        """The value without surrounding blanks; `default` if absent or empty."""
        return self.values.get(name, "").strip() or default

    def secret(self, name: str, *, may_be_empty: bool = False) -> str:
        """The value, or the content of the file that NAME_FILE names; "" if there is neither.

        A secret in a file shows in no list of processes and in no description of a container.
        """
        value, file = self.text(name), self.text(f"{name}_FILE")
        if not file:
            return value
        if value:
            self.wrong(f"{name} and {name}_FILE are both set: leave one out.")
        try:
            content = Path(file).read_text(encoding="utf-8").strip()
        except (OSError, UnicodeDecodeError) as broken:
            self.wrong(f"{name}_FILE names a file that cannot be read ({type(broken).__name__}).")
            return ""
        if not content and not may_be_empty:
            self.wrong(f"{name}_FILE names a file that is empty.")
        return content

    def flag(self, name: str, *, default: bool = False) -> bool:
        """True for 1, true, yes and on; False for 0, false, no and off."""
        value = self.text(name).lower()
        if value and value not in TRUE | FALSE:
            self.wrong(f"{name} must be 1 or 0, not {value!r}.")
        return value in TRUE if value else default

    def whole_number(self, name: str, default: int, *, least: int = 1) -> int:
        """The value as a whole number of at least `least`."""
        value = self.text(name, str(default))
        if not value.isdecimal() or int(value) < least:
            self.wrong(f"{name} must be a whole number of at least {least}, not {value!r}.")
            return default
        return int(value)

    def items(self, name: str) -> list[str]:
        """The comma-separated items of the value."""
        return [item.strip() for item in self.text(name).split(",") if item.strip()]

    def complain(self) -> None:
        """ImproperlyConfigured with every problem, a line each; nothing if there is none."""
        if self.problems:
            lines = "\n".join(f"  - {problem}" for problem in self.problems)
            raise ImproperlyConfigured(f"These settings have to be put right first:\n{lines}")
