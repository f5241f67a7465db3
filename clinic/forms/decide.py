"""Decide whose a submission is, or leave it with a note."""

from typing import Any

from django import forms

NOBODY = "nobody"


class DecideForm(forms.Form):
    """One of the patients shown, or nobody of ours. `person` holds a patient's id, or NOBODY."""

    person = forms.ChoiceField(
        error_messages={
            "required": "Choose whose quiz this is.",
            "invalid_choice": "Choose one of the patients shown.",
        }
    )
    note = forms.CharField(required=False, max_length=500)

    def __init__(self, *args: Any, people: list[int], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [(str(pk), str(pk)) for pk in people]
        field = self.fields["person"]
        if isinstance(field, forms.ChoiceField):
            field.choices = [*choices, (NOBODY, NOBODY)]


class NoteForm(forms.Form):
    """What was found out, without deciding yet."""

    note = forms.CharField(
        max_length=500,
        error_messages={"required": "Write what you found out, so that the next one knows."},
    )
