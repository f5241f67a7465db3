"""The form by which a schedule file comes in."""

from typing import Any

from crispy_forms.helper import FormHelper
from crispy_forms.layout import Submit
from django import forms
from django.core.files.uploadedfile import UploadedFile

from patients import message_words
from patients.import_messages import is_message_file
from patients.rules.message_readers import READERS, format_of
from patients.rules.message_reading import NotTaken
from patients.rules.schedule_columns import WORDS
from patients.rules.schedule_file import MAX_BYTES, read_text
from patients.rules.schedule_reasons import TO_BE_CHOSEN, NotASchedule, Refusal
from patients.rules.schedule_table import outline, read_table
from patients.schedule_words import refusal_words


class UploadForm(forms.Form):
    """One file. Cleaned to its bytes in `content`; what is no schedule is refused in words."""

    file = forms.FileField(
        label="Schedule file (CSV, HL7 v2 or FHIR)",
        help_text=f"Up to {MAX_BYTES // 1024 // 1024} MB and 100,000 rows.",
        widget=forms.ClearableFileInput(attrs={"accept": ".csv,text/csv,.json,.hl7,.txt"}),
        error_messages={
            "required": "Choose the file first.",
            "empty": " ".join(refusal_words(NotASchedule(Refusal.EMPTY))),
            "missing": "Choose the file first.",
            "invalid": "Choose the file first.",
        },
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = FormHelper()
        self.helper.form_tag = False
        self.helper.disable_csrf = True  # stands in the template, beside the act's key
        self.helper.add_input(Submit("preview", "Show what it would change"))

    def read(self, text: str) -> None:
        """Refuse what is no schedule; columns that are not known can be chosen, if they suffice."""
        try:
            read_table(text)
        except NotASchedule as refused:
            columns = outline(text, header_line=None).headings
            if refused.refusal not in TO_BE_CHOSEN or len(columns) < len(WORDS):
                raise

    def clean_file(self) -> "UploadedFile[bytes]":
        """Refuse by size before reading, then by content."""
        file: UploadedFile[bytes] = self.cleaned_data["file"]
        try:
            if (file.size or 0) > MAX_BYTES:
                raise NotASchedule(Refusal.TOO_MANY_BYTES, limit=MAX_BYTES // 1024 // 1024)
            self.content = file.read()
            if is_message_file(self.content):
                READERS[format_of(self.content)].split(self.content)
            else:
                self.read(read_text(self.content)[0])
        except NotTaken as not_taken:
            words = " ".join(message_words.refusal_words(not_taken))
            raise forms.ValidationError(words) from not_taken
        except NotASchedule as refused:
            raise forms.ValidationError(" ".join(refusal_words(refused))) from refused
        return file
