"""Where the demo's history is played: the day it leads up to, the staff, and who is meant."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from functools import cached_property
from zoneinfo import ZoneInfo

from clinic.demo.people import TIME_ZONE
from clinic.models import Role, StaffUser
from education.answers_in_words import right_answer
from education.models import Assignment, Invitation, Question, Submission
from education.rules.scoring import Given, Kind
from patients.models import Operation, Patient


@dataclass(frozen=True)
class Stage:
    """The day `on` that everything leads up to, and the staff by role."""

    on: date
    staff: Mapping[Role, StaffUser]

    def instant(self, days_ago: int, hour: int, minute: int = 0) -> datetime:
        """Return the instant of a local time of day, `days_ago` days before the demo's day.

        Hours from 4 to 23 exist on every day, whatever the clocks do.
        """
        return instant(self.on, days_ago, hour, minute)

    def day(self, offset: int | None) -> date | None:
        """Return the day that lies `offset` days after the demo's day."""
        return None if offset is None else self.on + timedelta(days=offset)

    def id_of(self, role: Role) -> int:
        """Return the id of the member of staff with this role."""
        return self.staff[role].pk

    @cached_property
    def dietitian(self) -> int:
        return self.id_of(Role.DIETITIAN)

    @cached_property
    def clinician(self) -> int:
        return self.id_of(Role.CLINICIAN)


def instant(on: date, days_ago: int, hour: int, minute: int = 0) -> datetime:
    """Return a local time of day in the programme's zone, in UTC."""
    local = datetime.combine(
        on - timedelta(days=days_ago), time(hour, minute), tzinfo=ZoneInfo(TIME_ZONE)
    )
    return local.astimezone(UTC)


def patient(mrn: str) -> Patient:
    """Return the patient with this MRN."""
    return Patient.objects.get(mrn=mrn)


def operation(mrn: str) -> Operation:
    """Return the patient's one operation."""
    return Operation.objects.select_related("patient", "procedure").get(patient__mrn=mrn)


def assignment(mrn: str, module: str) -> Assignment:
    """Return what the patient's operation needs of this module."""
    return Assignment.objects.select_related("operation__patient", "module").get(
        operation__patient__mrn=mrn, module__code=module
    )


def invitation(mrn: str, module: str) -> Invitation:
    """Return the latest personal link that went to the patient for this module."""
    return (
        Invitation.objects.select_related("assignment__module")
        .filter(assignment__operation__patient__mrn=mrn, assignment__module__code=module)
        .latest("recorded_at", "id")
    )


def submission(mrn: str, module: str) -> Submission:
    """Return the latest quiz that came back by the patient's links for this module."""
    return Submission.objects.filter(
        attempt__invitation__assignment__operation__patient__mrn=mrn,
        attempt__invitation__assignment__module__code=module,
    ).latest("recorded_at", "id")


def given(question: Question, wrong: Iterable[str]) -> Given:
    """Return an answer to a question: right, unless its key is among `wrong`."""
    if question.key not in wrong:
        return right_answer(question)
    if question.kind == Kind.NUMBER:
        return Given(number=(question.number or Decimal(0)) + (question.tolerance or 0) + 3)
    options = [option.pk for option in question.options.all()]
    turned = options[1:] + options[:1]
    if question.kind == Kind.ORDER:
        return Given(order=tuple(turned))
    if question.kind == Kind.MATCH:
        return Given(pairs=frozenset(zip(options, turned, strict=True)))
    amiss = [o.pk for o in question.options.all() if not o.right]
    return Given(options=frozenset(amiss if question.kind == Kind.SEVERAL else amiss[:1]))
