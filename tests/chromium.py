"""Finds a Chromium for the tests in a real browser, and brings one where it can.

`python -m tests.chromium` does so by itself: it says where the Chromium is, or what is missing.
"""

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

# Chromium without windows, as Playwright itself drives: a page costs a quarter less.
LEAN = "chromium-headless-shell"
NAMES = (LEAN, "chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
PLAYWRIGHT = [sys.executable, "-m", "playwright"]
DOWNLOAD = 120  # seconds for Playwright's own download
INSTALL = 600  # seconds for Debian's package
SPARE = 60  # seconds for one that only makes it quicker
# libatomic1: Playwright's own driver needs it. A font: without one every page is empty boxes.
BESIDE = ("libatomic1", "fonts-dejavu-core")
MISSING = (
    "There is no Chromium that Playwright can drive, for the tests in a real browser. "
    f"On Debian: apt-get install {' '.join((LEAN, *BESIDE))}"
)


def find() -> str | None:
    """The path of a Chromium that starts: the system's, else the one Playwright downloaded.

    None too if Playwright itself does not start here.
    """
    if not playwright_starts():
        return None
    return next((path for path in candidates() if starts(path)), None)


def playwright_starts() -> bool:
    """True if Playwright's own driver runs here (on a bare Debian it lacks a system library)."""
    return attempt([*PLAYWRIGHT, "--version"], 30, show=False)


def candidates() -> Iterator[str]:
    """The places where a Chromium may be."""
    for name in NAMES:
        path = shutil.which(name)
        if path:
            yield path
    downloads = Path(
        os.environ.get("PLAYWRIGHT_BROWSERS_PATH") or Path.home() / ".cache" / "ms-playwright"
    )
    for pattern in ("chromium-*/chrome-linux*/chrome", "chromium_headless_shell-*/*/*headless*"):
        yield from (str(path) for path in sorted(downloads.glob(pattern), reverse=True))


def starts(path: str) -> bool:
    """True if the program runs here at all (a downloaded one may lack system libraries)."""
    return attempt([path, "--version"], 30, show=False)


def bring() -> str | None:
    """A Chromium: found, or else downloaded by Playwright, or else installed by Debian (as root).

    None if it cannot be had here. On a machine that is thrown away (CI says so) the lean one is
    installed beside another, if that is quickly done.
    """
    found = find()
    if found:
        spare = os.environ.get("CI") and Path(found).name != LEAN
        return find() if spare and install(LEAN, SPARE) else found
    if playwright_starts():
        print("No Chromium here: trying Playwright's own download ...", flush=True)
        attempt([*PLAYWRIGHT, "install", "chromium"], DOWNLOAD, show=True)
        found = find()
    for name in (LEAN, "chromium"):
        found = found or (find() if install(name, INSTALL) else None)
    return found


def install(name: str, seconds: int) -> bool:
    """Debian's package, with what it needs beside it; True if it is there then."""
    if os.geteuid() != 0 or not shutil.which("apt-get"):
        return False
    print(f"Installing Debian's {name} ...", flush=True)
    packages = ["apt-get", "install", "-y", "-qq", "--no-install-recommends", name, *BESIDE]
    if attempt(packages, seconds, show=False):
        return True
    attempt(["apt-get", "update", "-qq"], seconds, show=False)
    return attempt(packages, seconds, show=False)


def attempt(command: list[str], seconds: int, *, show: bool) -> bool:
    """Runs a command with a time limit; True if it succeeded."""
    try:
        ended = subprocess.run(
            command,
            stdin=subprocess.DEVNULL,
            stdout=None if show else subprocess.DEVNULL,
            stderr=None if show else subprocess.DEVNULL,
            env=os.environ | {"DEBIAN_FRONTEND": "noninteractive"},
            timeout=seconds,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired):
        return False
    return ended.returncode == 0


if __name__ == "__main__":
    brought = bring()
    print(brought or MISSING)
    sys.exit(0 if brought else 1)
