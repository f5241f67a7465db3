"""What is typed about the mail that the programme sends of its own accord."""

import re
from datetime import date
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from clinic.mail_words import HOW_FAR, STANDINGS
from education.mail_rules import as_stored, reminders_in
from education.models import MailRules
from education.rules.standing import Reason, Standing
from education.rules.who_is_written_to import ReminderRule

MOST_REMINDERS = 8
BEFORE, AFTER = "before", "after"
CLOSING_DAY = re.compile(r"(\d{4}-\d{2}-\d{2})\s*(.{0,60})")


class MailRulesForm(forms.Form):
    """Everything but the reminders."""

    invites = forms.BooleanField(
        required=False,
        label="Send the link when a module’s window opens",
        help_text="Without this somebody sends each link from the morning list.",
    )
    quiet_until = forms.TimeField(
        label="Send from",
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        help_text="By the programme’s clock. Links that somebody sends by hand go out at once.",
    )
    quiet_from = forms.TimeField(
        label="Send until", widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
    )
    weekly_cap = forms.IntegerField(
        min_value=1,
        max_value=14,
        label="Emails in a week at most, to one patient",
        help_text="Every email to the patient counts; only these are held back by it.",
    )
    federal_holidays = forms.BooleanField(
        required=False, label="No reminders on US federal holidays, on the day they are kept"
    )
    closing_days = forms.CharField(
        required=False,
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 4}),
        label="Other days on which you are closed",
        help_text="One a line, the date first: 2027-11-26 Day after Thanksgiving",
    )

    def clean_closing_days(self) -> list[list[str]]:
        """Each line is a date that exists, and a name."""
        found: dict[str, str] = {}
        for number, line in enumerate(self.cleaned_data["closing_days"].splitlines(), start=1):
            if not line.strip():
                continue
            read = CLOSING_DAY.fullmatch(line.strip())
            try:
                day = date.fromisoformat(read[1]) if read else None
            except ValueError:
                day = None
            if read is None or day is None:
                raise ValidationError(
                    f"Line {number} is not a date like 2027-11-26, followed by a name."
                )
            found[day.isoformat()] = read[2].strip()
        return [[day, found[day]] for day in sorted(found)]

    def clean(self) -> dict[str, Any]:
        """Some of the day must be left to send in."""
        cleaned = super().clean() or {}
        first, last = cleaned.get("quiet_until"), cleaned.get("quiet_from")
        if first and last and first >= last:
            self.add_error("quiet_from", "This has to be later than the time to send from.")
        return cleaned


class ReminderForm(forms.Form):
    """One reminder; without a number of days there is none."""

    number = forms.IntegerField(min_value=0, max_value=120, required=False, label="Days")
    side = forms.ChoiceField(
        choices=[(BEFORE, "before the clear-by date"), (AFTER, "after it")],
        required=False,
        label="Counted",
    )
    standings = forms.MultipleChoiceField(
        choices=[(str(s), words) for s, words in STANDINGS.items()],
        required=False,
        widget=forms.CheckboxSelectMultiple,
        label="Who is",
    )
    how_far = forms.MultipleChoiceField(
        choices=[(str(r), words) for r, words in HOW_FAR.items()],
        required=False,
        widget=forms.CheckboxSelectMultiple,
        label="And came so far",
    )

    def clean(self) -> dict[str, Any]:
        """A reminder is for somebody."""
        cleaned = super().clean() or {}
        if cleaned.get("number") is not None:
            for name in ("standings", "how_far"):
                if not cleaned.get(name):
                    self.add_error(name, "Tick at least one.")
            late_only = cleaned.get("standings") == [str(Standing.LATE)]
            if cleaned.get("side") == BEFORE and cleaned["number"] > 0 and late_only:
                self.add_error("standings", "Nobody is late before the clear-by date.")
        return cleaned

    def rule(self) -> ReminderRule | None:
        """Return what was typed; None for an empty row."""
        number = self.cleaned_data.get("number")
        if number is None:
            return None
        after = self.cleaned_data["side"] == AFTER
        return ReminderRule(
            days_before=-number if after else number,
            standings=frozenset(Standing(s) for s in self.cleaned_data["standings"]),
            how_far=frozenset(Reason(r) for r in self.cleaned_data["how_far"]),
        )


Reminders = forms.formset_factory(
    ReminderForm, extra=2, max_num=MOST_REMINDERS, absolute_max=MOST_REMINDERS
)


def initial(rules: MailRules) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """Return what stands in the forms before anybody types."""
    lines = "\n".join(f"{day} {name}".strip() for day, name in rules.closing_days)
    own = {
        "invites": rules.invites,
        "quiet_until": rules.quiet_until,
        "quiet_from": rules.quiet_from,
        "weekly_cap": rules.weekly_cap,
        "federal_holidays": rules.federal_holidays,
        "closing_days": lines,
    }
    rows = [
        {
            "number": abs(rule.days_before),
            "side": AFTER if rule.days_before < 0 else BEFORE,
            "standings": sorted(rule.standings),
            "how_far": sorted(rule.how_far),
        }
        for rule in reminders_in(rules.reminders)
    ]
    return own, rows


def typed(form: MailRulesForm, rows: Any) -> dict[str, Any]:
    """Return the rules as a row of `MailRules` keeps them; both forms are valid."""
    rules = [rule for row in rows for rule in [row.rule()] if rule is not None]
    return {**form.cleaned_data, "reminders": as_stored(rules)}
