"""What staff type for a patient: the name and date of birth, the day, and an answer a field."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms

from clinic.day_words import day
from education.forms import YouForm
from education.models import Question
from education.rules.quiz_code import CodeProblem, read_code
from education.rules.scoring import Given
from education.rules.typed_number import NumberProblem
from education.rules.written_answer import LONGEST, Problem, WrittenProblem
from education.shown import ShownQuestion
from education.written import Lettered, as_typed, lines_of, options_of, read_answer

# What stands before the answers, in the order of the sheet.
FACTS = ("given_names", "family_names", "month", "day", "year", "answered_on")
CODE_PROBLEM = {
    CodeProblem.EMPTY: "Type the code of the sheet.",
    CodeProblem.NOT_THE_LENGTH: "A code has eight letters and digits, such as 7KMP-X2D4.",
    CodeProblem.NOT_OF_A_CODE: "No code has vowels, L, 0 or 1. Compare it with the sheet.",
    CodeProblem.MISTYPED: "One letter or digit is wrong. Compare it with the sheet.",
}


class CodeForm(forms.Form):
    """A code; a typing mistake is said before anything is looked up."""

    code = forms.CharField(
        label="Code",
        required=False,
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
        ),
    )

    def clean_code(self) -> str:
        """Return the code as it is stored."""
        read = read_code(self.cleaned_data["code"])
        if isinstance(read, CodeProblem):
            raise forms.ValidationError(CODE_PROBLEM[read])
        return read


@dataclass(frozen=True)
class Row:
    """One question with its field: what has letters, what is to be numbered or matched."""

    question: ShownQuestion
    field: forms.BoundField
    options: list[Lettered]
    lines: list[str]


class AnswersForm(YouForm):
    """The patient's name and date of birth, and the answers; a blank one is wrong, not an error.

    With `filled_in` (first and last day that it can be) it asks on which day a sheet was filled in.
    """

    def __init__(
        self,
        data: Mapping[str, Any] | None = None,
        *,
        on: date,
        questions: Sequence[ShownQuestion],
        saved: Mapping[int, Given] | None = None,
        filled_in: tuple[date, date] | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(data, on=on, **kwargs)
        self.questions, self.filled_in = questions, filled_in
        self.answers: dict[Question, Given | None] = {}
        for name, label in (
            ("given_names", "Given names"),
            ("family_names", "Family names"),
            ("month", "Month"),
            ("day", "Day"),
            ("year", "Year"),
        ):
            self.fields[name].label = label
            self.fields[name].widget.attrs["autocomplete"] = "off"
        self.fields["given_names"].error_messages["required"] = "Type the name as it stands there."
        if filled_in:
            self.fields["answered_on"] = forms.DateField(
                label="Filled in on",
                widget=forms.DateInput(
                    attrs={"type": "date", "min": str(filled_in[0]), "max": str(filled_in[1])}
                ),
                error_messages={"required": "Type the day on which it was filled in."},
            )
        for question in questions:
            given = (saved or {}).get(question.record.pk)
            self.fields[f"q{question.number}"] = forms.CharField(
                label=f"Question {question.number}",
                required=False,
                strip=False,
                initial=as_typed(question, given),
                widget=forms.TextInput(
                    attrs={"autocomplete": "off", "spellcheck": "false", "maxlength": LONGEST}
                ),
            )

        self.order_fields(FACTS)

    def clean(self) -> dict[str, Any]:
        """Read every answer by what its question takes."""
        cleaned = super().clean()
        for question in self.questions:
            name = f"q{question.number}"
            read = read_answer(question, str(cleaned.get(name, "")))
            if isinstance(read, (WrittenProblem, NumberProblem)):
                self.add_error(name, in_words(read, question))
            else:
                self.answers[question.record] = read
        return cleaned

    def clean_answered_on(self) -> date:
        """Neither to come nor before the printing, nor after the sheet's last day."""
        typed: date = self.cleaned_data["answered_on"]
        first, last = self.filled_in or (typed, typed)
        if typed > self.on:
            raise forms.ValidationError("That day is still to come.")
        if typed < first:
            raise forms.ValidationError(f"The sheet was printed on {day(first)}, not before.")
        if typed > last:
            raise forms.ValidationError(f"The sheet was good until {day(last)}. Print another one.")
        return typed

    @property
    def blank(self) -> list[int]:
        """The numbers of the questions without an answer, of a form that was read."""
        return [q.number for q in self.questions if self.answers.get(q.record) is None]

    @property
    def blanks_told(self) -> bool:
        """Whether whoever sent this had read which questions count as wrong for having no answer.

        The button that says so carries their numbers; another blank since is said anew.
        """
        return self.data.get("blanks") == ",".join(map(str, self.blank))

    def rows(self) -> list[Row]:
        """Return the questions with their fields, in the order of the sheet."""
        return [Row(q, self[f"q{q.number}"], options_of(q), lines_of(q)) for q in self.questions]


def in_words(problem: Problem, question: ShownQuestion) -> str:
    """Say what is wrong with an answer that was typed."""
    last = "abcdefghijklmnopqrstuvwxyz"[len(question.options) - 1]
    messages: dict[Problem, str] = {
        WrittenProblem.TOO_LONG: "This is too long for an answer.",
        WrittenProblem.NO_SUCH_LETTER: f"Type letters from a to {last}.",
        WrittenProblem.ONE_ONLY: "One letter only. Are two marked? Then leave it empty.",
        WrittenProblem.NO_SUCH_PLACE: f"Type numbers from 1 to {len(question.options)}.",
        WrittenProblem.TWICE: "One stands twice. Is it so on the sheet? Then leave it empty.",
        WrittenProblem.NOT_EVERY_LINE: (
            f"Type one for each of the {len(question.options)} lines. Is one missing on the sheet? "
            "Then leave it empty."
        ),
        NumberProblem.EMPTY: "Type a number.",
        NumberProblem.TOO_LONG: "This is too long. Type a number, such as 12.",
        NumberProblem.NOT_A_NUMBER: "Type the number in digits, such as 12 or 7.5.",
        NumberProblem.OTHER_UNIT: f"Type the number in this unit: {question.unit}.",
        NumberProblem.COULD_BE_TWO: "This could mean two numbers. Type 1000 or 1.",
    }
    return messages[problem]
