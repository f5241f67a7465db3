"""Check that nobody edited, cut, inserted or reordered what stands in the trail."""

import re
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from clinic.trail import Seal, first_broken, first_broken_seal, seal

WRITTEN = re.compile(r"\b(\d+):([0-9a-f]{64})\b")


class Command(BaseCommand):
    """Exit 1 and name the first entry, or the first seal, that does not fit."""

    help = (
        "Checks the chain of the trail. The chain alone cannot show that its end was cut off: "
        "for that give the seals that were logged (once a day, and by this command)."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The seals that were kept elsewhere."""
        parser.add_argument(
            "--seals",
            metavar="FILE",
            help="a log, or any text, in which seals stand; - reads them from standard input",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Check the chain, then the seals, and print the seal of today."""
        broken = first_broken()
        if broken is not None:
            raise CommandError(f"The chain breaks at entry {broken}.")
        kept = _kept(options["seals"])
        lost = first_broken_seal(kept)
        if lost is not None:
            raise CommandError(
                f"The trail does not bear out the seal {lost}: entries after it, or with it, "
                "were cut off or written anew."
            )
        said = f"{len(kept)} seals hold" if kept else "no seals were given"
        self.stdout.write(f"The chain is whole; {said}. Seal: {seal()}")


def _kept(source: str | None) -> list[Seal]:
    if source is None:
        return []
    try:
        text = sys.stdin.read() if source == "-" else Path(source).read_text(encoding="utf-8")
    except OSError as error:
        raise CommandError(f"Cannot read the seals: {error.strerror}.") from None
    return seals_in(text)


def seals_in(text: str) -> list[Seal]:
    """Return every seal that stands in a text."""
    return [Seal(int(count), digest) for count, digest in WRITTEN.findall(text)]
