"""What is typed on a call sheet: what the patient said about each point, and how it ended."""

from collections.abc import Iterable, Iterator
from datetime import date
from typing import Any

from django import forms
from django.forms import BoundField

from education.rules.teach_back import Objected, Objection, TeachBackOutcome
from education.teach_back import Point, Said
from patients.models import Means

SAID, UNDERSTOOD = "said-", "understood-"
OUTCOMES = [
    (TeachBackOutcome.UNDERSTOOD.value, "Understood: this clears the module today"),
    (TeachBackOutcome.NOT_YET.value, "Not yet: go on another day"),
    (TeachBackOutcome.NEEDS_VISIT.value, "Needs a visit"),
]
# What stands against an outcome, at the field where it is put right.
AT = {
    Objection.NOTHING_SAID: "outcome",
    Objection.SAFETY_NOT_UNDERSTOOD: UNDERSTOOD,
    Objection.SAID_MISSING: SAID,
    Objection.NO_NEXT_DATE: "next_on",
    Objection.DATE_OVER: "next_on",
}
WORDS = {
    Objection.NOTHING_SAID: "Mark at least one point as understood, with what the patient said.",
    Objection.SAFETY_NOT_UNDERSTOOD: (
        "This point is safety-critical. Mark it as understood first, or choose another outcome."
    ),
    Objection.SAID_MISSING: "Write what the patient said: it is the evidence.",
    Objection.NO_NEXT_DATE: "Say on which day you go on.",
    Objection.DATE_OVER: "This day is over. Choose today or later.",
}


class TeachBackForm(forms.Form):
    """Two fields for each point, by the question's key, then how the teach-back ended."""

    use_required_attribute = False

    # Nothing is chosen beforehand: nobody is cleared by a slip.
    outcome = forms.ChoiceField(choices=OUTCOMES, widget=forms.RadioSelect)
    next_on = forms.DateField(
        label="Next contact on",
        required=False,
        help_text="Needed for “not yet”. For a visit: its day, once it is agreed.",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )
    one_more_attempt = forms.BooleanField(
        label="Not yet: the quiz may be taken once more before the next call", required=False
    )
    means = forms.ChoiceField(
        label="By",
        choices=[(Means.CALL.value, "Call"), (Means.CONVERSATION.value, "Conversation")],
        initial=Means.CALL.value,
    )
    note = forms.CharField(
        required=False, max_length=1000, widget=forms.Textarea(attrs={"rows": 2, "maxlength": 1000})
    )

    def __init__(self, *args: Any, points: Iterable[Point], on: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.on, self.keys = on, [point.question.key for point in points]
        for number, key in enumerate(self.keys, start=1):
            self.fields[SAID + key] = forms.CharField(
                label=f"Point {number}: what the patient said",
                required=False,
                max_length=1000,
                widget=forms.Textarea(attrs={"rows": 2, "maxlength": 1000}),
            )
            self.fields[UNDERSTOOD + key] = forms.ChoiceField(
                label=f"Point {number}",
                required=False,
                choices=[("yes", "Understood"), ("no", "Not yet"), ("", "Not gone through")],
                initial="",
                widget=forms.RadioSelect,
            )

    @property
    def of_points(self) -> Iterator[tuple[BoundField, BoundField]]:
        """The fields of each point: what was said, and whether it was understood."""
        return ((self[SAID + key], self[UNDERSTOOD + key]) for key in self.keys)

    @property
    def of_the_end(self) -> list[BoundField]:
        """The fields about the whole."""
        return [self[name] for name in self.base_fields]

    @property
    def said(self) -> dict[str, Said]:
        """What was said about each point, by the question's key."""
        word = {"yes": True, "no": False}
        typed = self.cleaned_data
        return {
            key: Said(typed[SAID + key], word.get(typed[UNDERSTOOD + key])) for key in self.keys
        }

    def tell(self, found: Iterable[Objected]) -> None:
        """Show what stands against the outcome beside the fields where it is put right."""
        for one in found:
            name = AT[one.objection] + one.key
            self.add_error(name if name in self.fields else None, WORDS[one.objection])
