"""`manage.py serve`: a site of one's own on this machine, running."""

import os
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import BaseCommand, CommandError, CommandParser

from clinic import running
from clinic.founding import add_questions, found
from patients.models import Programme


class Command(BaseCommand):
    """Founds the programme at the first start, and runs the site."""

    help = "Runs the whole tool on this machine. The first start asks for the programme's facts."
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        """The options; the port was chosen in first_run.py, before the settings were read."""
        parser.add_argument("--port", type=int, help="the port; default: the first free from 8000")
        parser.add_argument("--host", default="127.0.0.1", help="the address to listen on")
        add_questions(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        """Runs until Ctrl-C."""
        if settings.PRODUCTION:
            raise CommandError(
                "serve runs everything on this machine; in production start web, worker and beat "
                "each for itself, as docker-compose.yml does, and found the programme with "
                "manage.py found."
            )
        with running.until_stopped(self.say), running.only_one(Path(settings.DATA_DIR)):
            running.migrate(self.say)
            if not Programme.objects.exists():
                found(options, self.say)
            running.collect_static_files(self.say)
            self.say("Starting web server, worker and scheduler ...")
            running.run_until_stopped(
                options["host"], int(os.environ["CLINIC_PORT"]), self.introduce, self.say
            )

    def introduce(self) -> None:
        """Prints the address and where the mail goes."""
        mail = (
            f"No mail server is set (EMAIL_HOST), so nothing leaves this machine: each mail is "
            f"written to a file in {settings.MAIL_FOLDER}."
            if settings.MAIL_FOLDER
            else f"Mail goes through {settings.EMAIL_HOST}."
        )
        self.say(f"\nIt runs at  {settings.PUBLIC_URL}/\n{mail}\nCtrl-C ends it.")

    def say(self, line: str) -> None:
        """One line for the person who waits, shown at once."""
        self.stdout.write(line)
        self.stdout.flush()
