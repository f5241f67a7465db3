"""`manage.py found`: found the programme, where web and workers are started apart from it."""

from typing import Any

from django.core.management import BaseCommand, CommandError, CommandParser

from clinic.founding import add_questions, found
from patients.models import Programme


class Command(BaseCommand):
    """Asks for the programme's facts and its first administrator, once."""

    help = "Found the programme: name, time zone, phone number and first administrator."

    def add_arguments(self, parser: CommandParser) -> None:
        """What is not given as an option is asked for."""
        add_questions(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        """Refuses a second time."""
        if Programme.objects.exists():
            raise CommandError("The programme is founded already. Its settings are on a page.")
        found(options, self.stdout.write)
