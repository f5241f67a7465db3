"""`manage.py serve`: a site of one's own on this machine, running."""

import getpass
import os
import sys
from pathlib import Path
from typing import Any
from zoneinfo import available_timezones

from django.conf import settings
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management import BaseCommand, CommandError, CommandParser
from django.core.validators import validate_email
from django.db import transaction
from django.utils import timezone

from clinic import running
from clinic.models import Role, StaffUser
from patients import programme
from patients.models import Programme

PASSWORD_VARIABLE = "CLINIC_ADMIN_PASSWORD"
# What is asked once: option, the question, the longest answer.
QUESTIONS = {
    "name": ("The programme's name", 120),
    "time_zone": ("Its time zone", 64),
    "phone": ("The phone number that patients call", 40),
    "admin_name": ("The first administrator's name", 120),
    "admin_email": ("The first administrator's email", 254),
}


class Command(BaseCommand):
    """Founds the programme at the first start, and runs the site."""

    help = "Runs the whole tool on this machine. The first start asks for the programme's facts."
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        """The options; the port was chosen in first_run.py, before the settings were read."""
        parser.add_argument("--port", type=int, help="the port; default: the first free from 8000")
        parser.add_argument("--host", default="127.0.0.1", help="the address to listen on")
        for option, (question, _) in QUESTIONS.items():
            parser.add_argument(f"--{option.replace('_', '-')}", help=question)

    def handle(self, *args: Any, **options: Any) -> None:
        """Runs until Ctrl-C."""
        if settings.PRODUCTION:
            raise CommandError(
                "serve runs everything on this machine; in production start web, worker and beat "
                "each for itself, as docker-compose.yml does."
            )
        with running.until_stopped(self.say), running.only_one(Path(settings.DATA_DIR)):
            running.migrate(self.say)
            if not Programme.objects.exists():
                self.found(options)
            running.collect_static_files(self.say)
            self.say("Starting web server, worker and scheduler ...")
            running.run_until_stopped(
                options["host"], int(os.environ["CLINIC_PORT"]), self.introduce, self.say
            )

    def found(self, options: dict[str, Any]) -> None:
        """Founds the programme with its first administrator, from options or by asking."""
        answers = {option: (options[option] or "").strip() for option in QUESTIONS}
        password = os.environ.get(PASSWORD_VARIABLE, "")
        if not sys.stdin.isatty():
            missing = [
                f"--{name.replace('_', '-')}" for name, given in answers.items() if not given
            ]
            missing += [] if password else [f"the variable {PASSWORD_VARIABLE}"]
            if missing:
                raise CommandError(f"The first start needs {', '.join(missing)}.")
        for option, answer in answers.items():
            answers[option] = self.settled(option, answer)
        while not password:
            password = getpass.getpass("A password for the administrator (12 characters or more): ")
            if complaint := password_complaint(password, answers):
                self.say(complaint)
                password = ""
        if complaint := password_complaint(password, answers):
            raise CommandError(complaint)
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
                at=timezone.now(),
                by=administrator,
            )

    def settled(self, option: str, answer: str) -> str:
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
            self.say(complaint)
            answer = ""

    def introduce(self) -> None:
        """Prints the address and where the mail goes."""
        mail = (
            f"No mail server is set (EMAIL_HOST), so nothing leaves this machine: "
            f"mails are at {settings.PUBLIC_URL}/mail-tray/"
            if settings.MAIL_FOLDER
            else f"Mail goes through {settings.EMAIL_HOST}."
        )
        self.say(f"\nIt runs at  {settings.PUBLIC_URL}/\n{mail}\nCtrl-C ends it.")

    def say(self, line: str) -> None:
        """One line for the person who waits, shown at once."""
        self.stdout.write(line)
        self.stdout.flush()


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
