"""`manage.py rehearse_matching`: what would the matching rule make of past claims?"""

import gc
import os
from argparse import ArgumentParser
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from clinic.rehearsal_words import (
    MOST_SHOWN,
    NEVER_AUTOMATIC,
    counted,
    decisions_csv,
    false_accepts,
    judged_words,
    printable,
    problem_words,
    read_words,
    tally_words,
)
from patients.clock import now
from patients.rules.identity import Policy, Register
from patients.rules.in_memory import InMemoryRegister
from patients.rules.rehearsal import Answered, answer, judge, tally
from patients.rules.rehearsal_files import (
    Asked,
    Files,
    Limits,
    NotRehearsable,
    Part,
    Problem,
    read_files,
)

LIMITS = Limits(max_bytes=1024 * 1024 * 1024, rows={})
TELL_EVERY = 100


class Command(BaseCommand):
    """Exit code 0: the decisions are written. 1: something is wrong, and nothing is written."""

    help = (
        "Tries the rule that matches submissions to patients on your own past claims: two or three "
        "CSV files in, a CSV file with a decision for each claim out, and a summary. Reads and "
        "writes nothing on record; needs no database."
    )
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The files, and the rule."""
        files = {
            "--register": "patient_id, given_name, family_name, date_of_birth",
            "--claims": "claim_id, given_name, family_name, date_of_birth",
            "--out": "where to write claim_id, decision, patient_id, candidates, reasons",
        }
        for option, columns in files.items():
            parser.add_argument(option, type=Path, required=True, metavar="CSV", help=columns)
        parser.add_argument(
            "--truth",
            type=Path,
            metavar="CSV",
            help="claim_id, patient_id (empty: nobody on the register); tells how right it is",
        )
        parser.add_argument(
            "--policy",
            type=Policy,
            choices=list(Policy),
            default=Policy.NAME_AND_BIRTH_DATE,
            help="the programme's setting to try; files have no personal links, so the other two "
            "match nothing without a person",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Read everything, ask about each claim, write the decisions, say how it went."""
        paths: dict[Part, Path] = {p: options[p.value] for p in Part if options[p.value]}
        out: Path = options["out"]
        _must_be_writable(out, paths.values())
        with _no_looking_for_rubbish():
            answers, files = self.answers(paths, options["policy"])
            _write_whole(out, decisions_csv(answers))
        self.tell(answers, files, options["policy"])
        self.stdout.write(f"The decisions are in {printable(str(out))}.")

    def answers(self, paths: Mapping[Part, Path], policy: Policy) -> tuple[list[Answered], Files]:
        """Read the files, and ask the rule about each claim."""
        names = {part: str(path) for part, path in paths.items()}
        contents = {part: _content(path) for part, path in paths.items()}
        try:
            files = read_files(contents, on=now().date(), limits=LIMITS)
        except NotRehearsable as refused:
            raise CommandError(_all_wrong(refused.problems, names)) from None
        for sentence in read_words(files, names):
            self.stdout.write(sentence)
        register = InMemoryRegister(files.people)
        return list(self.watched(files.claims, register, policy)), files

    def watched(
        self, claims: Sequence[Asked], register: Register, policy: Policy
    ) -> Iterator[Answered]:
        """Yield the answers; on a terminal, say how far it is."""
        for done, asked in enumerate(claims, start=1):
            yield answer(asked, register, policy)
            if self.stderr.isatty() and (done % TELL_EVERY == 0 or done == len(claims)):
                ending = "\n" if done == len(claims) else "\r"
                self.stderr.write(f"{done:,} of {len(claims):,} claims", str, ending)

    def tell(self, answers: Sequence[Answered], files: Files, policy: Policy) -> None:
        """Say what would become of the claims and, with the truth, how right that is."""
        counts = tally(answers)
        said = [tally_words(counts)]
        if policy in NEVER_AUTOMATIC:
            said.append(NEVER_AUTOMATIC[policy])
        if files.truth is not None:
            judged = judge(answers, files.truth)
            said += [false_accepts(judged), *judged_words(judged, counts.claims)]
        for sentence in said:
            self.stdout.write(sentence)


def _content(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise CommandError(f"{printable(str(path))} cannot be read: {error.strerror}.") from None


def _all_wrong(problems: Sequence[Problem], names: Mapping[Part, str]) -> str:
    said = [problem_words(problem, names) for problem in problems[:MOST_SHOWN]]
    if len(problems) > MOST_SHOWN:
        said.append(f"... and {len(problems) - MOST_SHOWN:,} more.")
    found = counted(len(problems), "thing is", "things are")
    return "\n".join([f"{found} wrong with the files. Nothing was written.", *said])


def _must_be_writable(out: Path, inputs: Iterable[Path]) -> None:
    """Refuse, before the work, where the decisions cannot go."""
    if any(out.exists() and path.exists() and out.samefile(path) for path in inputs):
        raise CommandError("--out is one of the files that are read. Name another file.")
    if out.exists() and not out.is_file():
        raise CommandError(f"{printable(str(out))} is not a file that can be replaced.")
    folder = out.resolve().parent
    if not folder.is_dir() or not os.access(folder, os.W_OK):
        raise CommandError(f"Nothing can be written in {printable(str(folder))}: is it a folder?")


def _write_whole(out: Path, lines: Iterable[str]) -> None:
    """Write the file beside its place, then put it there: it is never there in part."""
    whole = out.resolve()
    part = whole.with_name(f".{whole.name}.{os.getpid()}.part")
    try:
        with part.open("x", encoding="utf-8", newline="") as file:
            file.writelines(lines)
        part.replace(whole)
    except OSError as error:
        raise CommandError(f"{printable(str(out))} cannot be written: {error.strerror}.") from None
    finally:
        part.unlink(missing_ok=True)


@contextmanager
def _no_looking_for_rubbish() -> Iterator[None]:
    """A register is millions of small objects that stay; walking over them takes half the time."""
    gc.disable()
    try:
        yield
    finally:
        gc.enable()
