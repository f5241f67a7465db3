"""Which Chromium the tests in a real browser are given."""

import pytest

from tests import chromium

LEAN, WHOLE = f"/usr/bin/{chromium.LEAN}", "/usr/bin/chromium"


class Machine:
    """A machine on which some programs are, and some packages can be had."""

    def __init__(self, *programs: str, packages: tuple[str, ...] = ()) -> None:
        self.programs, self.packages = set(programs), packages
        self.asked: list[str] = []

    def find(self) -> str | None:
        return next((path for path in (LEAN, WHOLE) if path in self.programs), None)

    def install(self, name: str, seconds: int) -> bool:
        self.asked.append(name)
        if name in self.packages:
            self.programs.add(f"/usr/bin/{name}")
        return name in self.packages


@pytest.mark.parametrize(
    ("machine", "ci", "brought", "asked"),
    [
        (Machine(LEAN, WHOLE), "true", LEAN, []),
        (Machine(WHOLE, packages=(chromium.LEAN,)), "", WHOLE, []),
        (Machine(WHOLE, packages=(chromium.LEAN,)), "true", LEAN, [chromium.LEAN]),
        (Machine(WHOLE), "true", WHOLE, [chromium.LEAN]),
        (Machine(packages=(chromium.LEAN, "chromium")), "", LEAN, [chromium.LEAN]),
        (Machine(packages=("chromium",)), "", WHOLE, [chromium.LEAN, "chromium"]),
        (Machine(), "true", None, [chromium.LEAN, "chromium"]),
    ],
    ids=[
        "there is the lean one",
        "nothing is installed beside one that is there",
        "but on a machine that is thrown away",
        "where it cannot be had, the other one does",
        "none is there",
        "none is there, nor a lean one to be had",
        "none is to be had",
    ],
)
def test_which_one_is_brought(
    machine: Machine,
    ci: str,
    brought: str | None,
    asked: list[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("CI", ci)
    monkeypatch.setattr(chromium, "find", machine.find)
    monkeypatch.setattr(chromium, "install", machine.install)
    monkeypatch.setattr(chromium, "playwright_starts", lambda: False)
    assert (chromium.bring(), machine.asked) == (brought, asked)
