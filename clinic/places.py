"""The pages that staff start from: in which group each stands, and which a role opens each day."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from django.conf import settings
from django.urls import NoReverseMatch, resolve, reverse

from clinic.models import Role


@dataclass(frozen=True)
class Place:
    """A page: the name of its address, what links call it, and what it is for."""

    name: str
    label: str
    what_for: str

    @property
    def url(self) -> str:
        return reverse(self.name)


GROUPS: Mapping[str, tuple[Place, ...]] = {
    "Patients": (
        Place("morning", "Morning list", "who needs somebody today, why, and what next"),
        Place("submissions", "Submissions", "quizzes that came in, and whose they are"),
        Place("questions", "Questions", "what patients asked, and the answers"),
        Place("eating-today", "Eating plans", "who starts or changes a stage, whom to tell"),
        Place("enter-code", "Enter a quiz", "type in a quiz sheet that came back"),
        Place("duplicates", "Duplicates", "records that may be one person"),
    ),
    "OR dates": (
        Place("operations", "Operations", "each OR date, and whether it may be confirmed"),
        Place("schedule-import", "Import", "take in a schedule from a file"),
        Place("intake", "Intake", "schedule messages, and those that wait for a person"),
    ),
    "What is taught": (
        Place("modules", "Modules", "lessons and quizzes: write, publish, see how they read"),
        Place("requirements", "Requirements", "which procedure needs which module, and when"),
        Place("eating-stages", "Eating stages", "what is eaten on which day, and who signed it"),
    ),
    "The programme": (
        Place("mail", "Mail", "what went out, what failed, what goes out by itself"),
        Place("mail-tray", "Mail tray", "the emails of this demo, as patients get them"),
        Place("programme", "Programme", "name, telephone, notice period, matching"),
        Place("rehearsal", "Try the matching", "what the rule would do with past quizzes"),
        Place("staff", "Staff", "who has an account, and in which role"),
        Place("running", "What runs", "the programs behind the pages, and what is stuck"),
        Place("trail", "Trail", "who saw and did what, and when"),
    ),
}
PLACES = tuple(place for group in GROUPS.values() for place in group)

# What the head of each page offers, in reading order; all else is one page away ("All pages").
EACH_DAY: Mapping[Role, tuple[str, ...]] = {
    Role.DIETITIAN: ("morning", "submissions", "questions", "eating-today", "operations"),
    Role.CLINICIAN: ("morning", "submissions", "questions", "eating-today", "operations"),
    Role.COORDINATOR: ("operations", "intake", "schedule-import", "morning"),
    Role.ADMINISTRATOR: ("programme", "modules", "requirements", "mail", "staff"),
    Role.AUDITOR: ("trail", "operations", "submissions", "morning"),
}


def open_to_role(role: str, places: tuple[Place, ...] = PLACES) -> Iterator[Place]:
    """Yield the places that there are and that a role may open."""
    for place in places:
        if place.name == "mail-tray" and not settings.MAIL_TRAY:
            continue
        try:
            view = resolve(place.url).func
        except NoReverseMatch:
            continue
        if role in getattr(view, "open_to", ()):
            yield place
