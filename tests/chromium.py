"""Finds a Chromium for the tests in a real browser, and brings one where it can."""

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
DOWNLOAD = 120  # seconds for Playwright's own download
INSTALL = 600  # seconds for Debian's package
MISSING = "There is no Chromium for the tests in a real browser: apt-get install chromium"


def find() -> str | None:
    """The path of a Chromium that starts: the system's, else the one Playwright downloaded."""
    return next((path for path in candidates() if starts(path)), None)


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

    None if it cannot be had here.
    """
    found = find()
    if found:
        return found
    print("No Chromium here: trying Playwright's own download ...", flush=True)
    attempt([sys.executable, "-m", "playwright", "install", "chromium"], DOWNLOAD, show=True)
    found = find()
    if not found and os.geteuid() == 0 and shutil.which("apt-get"):
        print("Not that way: installing Debian's package chromium ...", flush=True)
        attempt(["apt-get", "update", "-qq"], INSTALL, show=True)
        attempt(
            ["apt-get", "install", "-y", "-qq", "--no-install-recommends", "chromium"],
            INSTALL,
            show=True,
        )
        found = find()
    return found


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
