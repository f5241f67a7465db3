"""Decide whose a submission is, or leave it with a note."""

from collections.abc import Collection
from typing import Any

from django import forms

NOBODY = "nobody"


class DecideForm(forms.Form):
    """One of the patients shown, or nobody of ours. `person` holds a patient's id, or NOBODY.

    `searched`: those of them whom the rule did not think of. Why it is theirs only a note can say.
    """

    person = forms.ChoiceField(
        error_messages={
            "required": "Choose whose quiz this is.",
            "invalid_choice": "Choose one of the patients shown.",
        }
    )
    note = forms.CharField(required=False, max_length=500)

    def __init__(
        self, *args: Any, people: list[int], searched: Collection[int] = (), **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self._searched = {str(pk) for pk in searched}
        choices = [(str(pk), str(pk)) for pk in people]
        field = self.fields["person"]
        if isinstance(field, forms.ChoiceField):
            field.choices = [*choices, (NOBODY, NOBODY)]

    def clean(self) -> None:
        """A patient whom somebody searched for needs a note."""
        given = self.cleaned_data
        if given.get("person") in self._searched and not given.get("note", "").strip():
            self.add_error("note", "Say how you know: the rule did not think of this patient.")


class NoteForm(forms.Form):
    """What was found out, without deciding yet."""

    note = forms.CharField(
        max_length=500,
        error_messages={"required": "Write what you found out, so that the next one knows."},
    )
