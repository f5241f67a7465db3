#!/usr/bin/env python3
"""The one command: `python3 manage.py demo`, `serve`, `test`, or any Django command.

This file must be readable by every Python 3, so that an old one gets a sentence instead of a
syntax error (hence the annotation in quotes). What builds the virtualenv is first_run.py.
"""

import os
import sys

ROOT = os.path.dirname(os.path.abspath(__file__))
OLDEST = (3, 11)
NEWEST = (3, 13)


def python_complaint(version: "tuple[int, ...]") -> str:
    """One line that says why this Python cannot be used, or "" if it can.

    `version` is a tuple like `sys.version_info[:3]`.
    """
    if OLDEST <= tuple(version[:2]) <= NEWEST:
        return ""
    found = ".".join(str(part) for part in version[:3])
    return (
        "This needs Python 3.11, 3.12 or 3.13, and this is Python " + found + ". "
        "On Debian 12 or newer: apt-get install python3 python3-venv. "
        "If a fitting Python is installed beside this one, name it: python3.12 manage.py ..."
    )


def main() -> None:
    complaint = python_complaint(sys.version_info[:3])
    if complaint:
        sys.stderr.write(complaint + "\n")
        sys.exit(1)

    # Only now: what follows is written for Python 3.11 and newer.
    import first_run

    first_run.enter_virtualenv(ROOT, sys.argv)
    if sys.argv[1:2] == ["test"]:
        from tests import whole_check

        sys.exit(whole_check.main(sys.argv[2:]))
    first_run.prepare_environment(ROOT, sys.argv)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clinic.settings")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
