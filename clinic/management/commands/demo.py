"""`manage.py demo`: a site with an invented programme in it, running."""

import os
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.management import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from clinic import demo_scenario, running
from patients.models import Programme


class Command(BaseCommand):
    """Prepares the data folder of the demo, loads the scenario once, and runs the site."""

    help = "Runs the whole tool with an invented programme. Ctrl-C ends it, --reset starts afresh."
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        """The options; the port was chosen in first_run.py, before the settings were read."""
        parser.add_argument("--port", type=int, help="the port; default: the first free from 8000")
        parser.add_argument("--host", default="127.0.0.1", help="the address to listen on")
        parser.add_argument("--reset", action="store_true", help="forget the demo's data first")

    def handle(self, *args: Any, **options: Any) -> None:
        """Runs until Ctrl-C."""
        if settings.PRODUCTION:
            raise CommandError("The demo does not run with the production settings.")
        folder = Path(settings.DATA_DIR)
        with running.until_stopped(self.say), running.only_one(folder):
            # Left there by a load that was cut off: half a scenario is of no use.
            loading = folder / "scenario-loading"
            if options["reset"] or loading.exists():
                self.say("Forgetting the demo's earlier data ...")
                running.empty(folder)
            running.migrate(self.say)
            running.collect_static_files(self.say)
            if not Programme.objects.exists():
                loading.touch()
                self.say("Loading the scenario ...")
                today = timezone.now().astimezone(ZoneInfo(demo_scenario.TIME_ZONE)).date()
                demo_scenario.build(on=today, progress=self.say)
            loading.unlink(missing_ok=True)
            self.say("Starting web server, worker and scheduler ...")
            running.run_until_stopped(
                options["host"], int(os.environ["CLINIC_PORT"]), self.introduce, self.say
            )

    def introduce(self) -> None:
        """Prints the address, the logins, where the mail is, and what to try first."""
        address = settings.PUBLIC_URL
        who = demo_scenario.TRY_WITH
        widest = max((len(role) for role, _, _ in demo_scenario.LOGINS), default=0)
        logins = [
            f"  {role:<{widest}}  {email}  {password}"
            for role, email, password in demo_scenario.LOGINS
        ]
        mail = (
            f"  {address}/mail-tray/"
            if settings.MAIL_FOLDER
            else f"  sent through {settings.EMAIL_HOST}"
        )
        lines = [
            "",
            f"It runs at  {address}/",
            "",
            "Sign in (role, email, password):",
            *logins,
            "",
            "The mails that went out:",
            mail,
            "",
            "A new export of the operating schedule, to try the import with:",
            f"  {Path(settings.DATA_DIR) / demo_scenario.TO_IMPORT}",
            "",
            "What to try first:",
            "  1. Sign in as the dietitian: the morning list says who needs you today, and why.",
            f"     Send someone on it a link: {who.given} {who.family}, say.",
            "  2. Open the page with the mails and follow a link in one, as a patient would on a",
            "     phone: read, take the quiz, give a name and a date of birth (that one's is",
            f"     {who.birth_date:%d %B %Y}).",
            "  3. Sign in as the coordinator and look up that patient: confirm, hold or cannot",
            "     tell, with the reasons.",
            "",
            "Ctrl-C ends it.",
        ]
        self.say("\n".join(lines))

    def say(self, line: str) -> None:
        """One line for the person who waits, shown at once."""
        self.stdout.write(line)
        self.stdout.flush()
