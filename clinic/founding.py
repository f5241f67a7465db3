"""Found the programme: its facts, its first administrator and the starter modules."""

import getpass
import os
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any
from zoneinfo import available_timezones

from django.conf import settings
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management import CommandError, CommandParser
from django.core.validators import validate_email
from django.db import transaction

from clinic.models import Role, StaffUser
from education import stage_tables
from education.publish import publish
from education.rules.module_text import read_module
from patients import programme
from patients.clock import now

Say = Callable[[str], None]
STARTER_MODULES = Path(settings.BASE_DIR) / "education" / "starter"
PASSWORD_VARIABLE = "CLINIC_ADMIN_PASSWORD"
# What is asked once: option, the question, the longest answer.
QUESTIONS = {
    "name": ("The programme's name", 120),
    "time_zone": ("Its time zone", 64),
    "phone": ("The phone number that patients call", 40),
    "admin_name": ("The first administrator's name", 120),
    "admin_email": ("The first administrator's email", 254),
}


def add_questions(parser: CommandParser) -> None:
    """Each question may be answered by an option."""
    for option, (question, _) in QUESTIONS.items():
        parser.add_argument(f"--{option.replace('_', '-')}", help=question)


def found(options: Mapping[str, Any], say: Say) -> None:
    """Founds the programme with its first administrator, from options or by asking.

    The starter modules are published with it, so that a requirement can name them, and the
    stages of the eating plan are laid down as common practice; the programme's clinicians read and
    change them before a patient is asked to.
    """
    answers = {option: (options[option] or "").strip() for option in QUESTIONS}
    password = os.environ.get(PASSWORD_VARIABLE, "")
    if not sys.stdin.isatty():
        missing = [f"--{name.replace('_', '-')}" for name, given in answers.items() if not given]
        missing += [] if password else [f"the variable {PASSWORD_VARIABLE}"]
        if missing:
            raise CommandError(f"The first start needs {', '.join(missing)}.")
    for option, answer in answers.items():
        answers[option] = settled(option, answer, say)
    while not password:
        password = getpass.getpass("A password for the administrator (12 characters or more): ")
        if complaint := password_complaint(password, answers):
            say(complaint)
            password = ""
    if complaint := password_complaint(password, answers):
        raise CommandError(complaint)
    at = now()
    with transaction.atomic():
        administrator = StaffUser.objects.create_user(
            email=answers["admin_email"],
            name=answers["admin_name"],
            role=Role.ADMINISTRATOR,
            password=password,
        )
        programme.found(
            name=answers["name"],
            time_zone=answers["time_zone"],
            phone=answers["phone"],
            at=at,
            by_id=administrator.pk,
        )
        for path in sorted(STARTER_MODULES.glob("*.toml")):
            publish(read_module(path.read_text(encoding="utf-8")), at=at)
        stage_tables.found(at=at)
    say("The programme is founded. Three starter modules are published: let your clinicians read")
    say("and sign them before you require them. Next: sign in and add procedures, requirements and")
    say("staff.")


def settled(option: str, answer: str, say: Say) -> str:
    """A valid answer: the one given, or asked for until it is valid."""
    question, _ = QUESTIONS[option]
    guess = guessed_time_zone() if option == "time_zone" else ""
    while True:
        if not answer:
            answer = input(f"{question}{f' [{guess}]' if guess else ''}: ").strip() or guess
        complaint = complaint_about(option, answer)
        if not complaint:
            return answer
        if not sys.stdin.isatty():
            raise CommandError(complaint)
        say(complaint)
        answer = ""


def complaint_about(option: str, answer: str) -> str:
    """What is wrong with an answer, or ""."""
    question, longest = QUESTIONS[option]
    if not answer:
        return f"{question}: please give it."
    if len(answer) > longest:
        return f"{question}: at most {longest} characters."
    if option == "time_zone" and answer not in available_timezones():
        return f"{question}: {answer!r} is not one. It is like America/Chicago or Europe/Madrid."
    if option == "admin_email":
        try:
            validate_email(answer)
        except ValidationError:
            return f"{question}: {answer!r} is not an email address."
    return ""


def password_complaint(password: str, answers: dict[str, str]) -> str:
    """What is wrong with the administrator's password, or ""."""
    user = StaffUser(email=answers["admin_email"], name=answers["admin_name"])
    try:
        validate_password(password, user)
    except ValidationError as problem:
        return "The password: " + " ".join(problem.messages)
    return ""


def guessed_time_zone() -> str:
    """This machine's time zone by its IANA name, or "" if it cannot be told."""
    known = available_timezones()
    if os.environ.get("TZ", "") in known:
        return os.environ["TZ"]
    target = os.path.realpath("/etc/localtime")
    name = target.partition("zoneinfo/")[2]
    return name if name in known else ""
