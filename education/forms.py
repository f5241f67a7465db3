"""What patients type at the end of a quiz: their name and date of birth."""

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from education.rules.birth_date import Code, Field, Problem, read_birth_date
from education.written_days import month_names

MAX_NAME = 200  # characters, as in the register


@dataclass(frozen=True)
class Typed:
    """The name and date of birth as the patient typed them."""

    given_names: str
    family_names: str
    birth_date: date


def refuse_control_characters(name: str) -> None:
    """Raise ValidationError for characters that no name has: NUL, line breaks and the like."""
    if any(unicodedata.category(char) in {"Cc", "Cs"} for char in name):
        raise ValidationError(gettext_lazy("This has a character that no name has. Type it again."))


class NameField(forms.CharField):
    """A name, kept as it was typed apart from blanks around it."""

    default_validators = [refuse_control_characters]

    def __init__(self, *, empty: Any = "", **options: Any) -> None:
        super().__init__(
            max_length=MAX_NAME,
            error_messages={
                "required": empty,
                "max_length": gettext_lazy("This is too long. Use at most 200 characters."),
                "null_characters_not_allowed": gettext_lazy(
                    "This has a character that no name has. Type it again."
                ),
            },
            **options,
        )


class YouForm(forms.Form):
    """Name and date of birth; what is wrong with the date stands at the field that is wrong."""

    given_names = NameField(
        empty=gettext_lazy("Type your first name. If you have just one name, type it here.")
    )
    family_names = NameField(required=False)
    day = forms.CharField(required=False)
    month = forms.CharField(required=False)
    year = forms.CharField(required=False)

    def __init__(self, data: Mapping[str, Any] | None = None, *, on: date, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self.on = on

    def clean(self) -> dict[str, Any]:
        """Read the three fields of the date together."""
        cleaned = super().clean() or self.cleaned_data
        parts = [str(self.data.get(field, "")) for field in Field]
        read = read_birth_date(*parts, on=self.on, months=month_names())
        if isinstance(read, date):
            cleaned["birth_date"] = read
            return cleaned
        for problem in read:
            self.add_error(str(problem.field), _date_message(problem))
        return cleaned

    def typed(self) -> Typed:
        """Return what a valid form says."""
        values = self.cleaned_data
        return Typed(values["given_names"], values["family_names"], values["birth_date"])


def _date_message(problem: Problem) -> str:
    by_field = {
        (Field.DAY, Code.EMPTY): _("Type the day you were born."),
        (Field.MONTH, Code.EMPTY): _("Type the month you were born."),
        (Field.YEAR, Code.EMPTY): _("Type the year you were born."),
        (Field.DAY, Code.NOT_A_NUMBER): _("Type the day as a number, such as 7."),
        (Field.YEAR, Code.NOT_A_NUMBER): _("Type the year as a number, such as 1970."),
    }
    by_code = {
        Code.TOO_LONG: _("This is too long."),
        Code.NO_SUCH_DAY: _("There is no such day. Check the day and the month."),
        Code.NO_SUCH_MONTH: _("Months go from 1 to 12. Check the month."),
        Code.UNKNOWN_MONTH: _("Type the month as a number or a name, such as 3 or March."),
        Code.TWO_DIGIT_YEAR: _("Type all four digits of the year, such as 1970."),
        Code.NOT_FOUR_DIGITS: _("A year has four digits, such as 1970."),
        Code.IN_THE_FUTURE: _("That day is still to come. Type the day you were born."),
        Code.TOO_LONG_AGO: _("That is too long ago. Check the year."),
    }
    return by_field.get((problem.field, problem.code)) or by_code[problem.code]
