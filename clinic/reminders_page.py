"""What the page of the reminders shows: who would get what, today and in the next two weeks."""

from collections import Counter
from dataclasses import dataclass, field
from datetime import date, datetime

from clinic.mail_words import WHY_NOT, reminder_words
from education.mail_rules import reminders_in
from education.models import MailRules
from education.reminders import preview
from education.rules.who_is_written_to import Decision, ReminderRule, What
from education.standings import Told
from education.titles import titles
from patients.models import Patient

DAYS = 14
SHOWN = 50


@dataclass(frozen=True)
class Line:
    """One email that would go out."""

    day: date
    patient: Patient
    module: str
    clear_by: date


@dataclass
class Foreseen:
    """What one rule would send; `lines` holds the first of them."""

    words: str
    today: int = 0
    in_all: int = 0
    lines: list[Line] = field(default_factory=list)


@dataclass(frozen=True)
class Preview:
    """By rule, and why nobody writes to the others today: words with how many."""

    on: date
    until: date
    rules: list[Foreseen]
    nobody_writes: list[tuple[str, int]]


def foresee(rules: MailRules, *, at: datetime) -> Preview:
    """Return the preview of rules, saved or not."""
    found, days = preview(rules, at=at, days=DAYS)
    by_rule: dict[ReminderRule | None, Foreseen] = {}
    if rules.invites:
        by_rule[None] = Foreseen("The link, when a window opens")
    for rule in reminders_in(rules.reminders):
        by_rule[rule] = Foreseen(f"Reminder {reminder_words(rule)}")
    on, names = days[0][0], titles()
    for day, decisions in days:
        for decision in decisions:
            if decision.what is None:
                continue
            key = decision.rule if decision.what == What.REMINDER else None
            one = by_rule[key]
            one.in_all += 1
            one.today += day == on
            if len(one.lines) < SHOWN:
                told = found.told[decision.case.id]
                one.lines.append(_line(decision, told, day, names))
    reasons = Counter(d.why_not for d in days[0][1] if d.why_not)
    said = [(WHY_NOT[why], count) for why, count in reasons.most_common()]
    return Preview(on, days[-1][0], list(by_rule.values()), said)


def _line(decision: Decision, told: Told, day: date, names: dict[int, str]) -> Line:
    clear_by = decision.case.facts.clear_by
    if clear_by is None:
        raise ValueError("what has no date is not written about")
    assignment = told.assignment
    return Line(
        day,
        assignment.operation.patient,
        names.get(assignment.module_id, assignment.module.code),
        clear_by,
    )
