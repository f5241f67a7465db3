"""The files of a rehearsal. Nothing of them is kept."""

from collections import Counter
from datetime import date
from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile

from clinic.rehearsal_words import MOST_SHOWN, counted, problem_words
from patients.rules.rehearsal_files import Files, Limits, NotRehearsable, Part, Wrong, read_files

MAX_MB = 20
REGISTER_ROWS, CLAIM_ROWS = 50_000, 5_000
LIMITS = Limits(
    max_bytes=MAX_MB * 1024 * 1024,
    rows={Part.REGISTER: REGISTER_ROWS, Part.CLAIMS: CLAIM_ROWS, Part.TRUTH: CLAIM_ROWS},
)
USE_THE_COMMAND = "Use the command for it: manage.py rehearse_matching."
NAMES = {
    Part.REGISTER: "Register file",
    Part.CLAIMS: "Claims file",
    Part.TRUTH: "File with the truth",
}


def _file(part: Part, columns: str, *, required: bool = True) -> forms.FileField:
    choose = "Choose this file first."
    return forms.FileField(
        label=NAMES[part] + ("" if required else ", if there is one"),
        required=required,
        help_text=f"CSV with the columns {columns}.",
        widget=forms.FileInput(attrs={"accept": ".csv,text/csv"}),
        error_messages={"required": choose, "missing": choose, "empty": "The file is empty."},
    )


class RehearsalForm(forms.Form):
    """Two or three CSV files; cleaned to what they say, in `said`, or to `problems` in them."""

    register = _file(Part.REGISTER, "patient_id, given_name, family_name, date_of_birth")
    claims = _file(Part.CLAIMS, "claim_id, given_name, family_name, date_of_birth")
    truth = _file(
        Part.TRUTH, "claim_id, patient_id (empty: nobody on the register)", required=False
    )

    said: Files

    def __init__(self, *args: Any, on: date, **kwargs: Any) -> None:
        """`on`: today; a date of birth on the register may not be later."""
        super().__init__(*args, **kwargs)
        self._on = on
        self.problems: list[tuple[str, str]] = []  # the field's id, and what is wrong
        self.more_problems = 0  # not listed

    def clean(self) -> dict[str, Any]:
        """Refuse by size before reading; then say everything that is wrong, in its place."""
        cleaned = super().clean() or {}
        sent: dict[Part, UploadedFile[bytes]] = {
            part: cleaned[part] for part in Part if cleaned.get(part)
        }
        for part, file in sent.items():
            if (file.size or 0) > LIMITS.max_bytes:
                self.add_error(part, f"The file is larger than {MAX_MB} MB. {USE_THE_COMMAND}")
        if self.errors:
            return cleaned
        try:
            contents = {part: file.read() for part, file in sent.items()}
            self.said = read_files(contents, on=self._on, limits=LIMITS)
        except NotRehearsable as refused:
            self._tell(refused)
        return cleaned

    def _tell(self, refused: NotRehearsable) -> None:
        for problem in refused.problems[:MOST_SHOWN]:
            fix = f" {USE_THE_COMMAND}" if problem.wrong == Wrong.TOO_MANY_ROWS else ""
            field = self[problem.part]
            self.problems.append((field.id_for_label, problem_words(problem, NAMES) + fix))
        self.more_problems = max(len(refused.problems) - MOST_SHOWN, 0)
        for part, count in Counter(problem.part for problem in refused.problems).items():
            wrong = counted(count, "thing is", "things are")
            self.add_error(part, f"{wrong} wrong in this file: see the list at the top.")
