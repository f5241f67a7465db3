"""What somebody says about a schedule file: which column is which, and what the words mean."""

import hashlib
from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from patients.import_schedule import Preview
from patients.rules.schedule_columns import NAMES, WORDS, Column, Header
from patients.rules.schedule_dates import Order
from patients.rules.schedule_reading import written
from patients.rules.schedule_rows import PLANS, Plan
from patients.rules.schedule_table import Outline

NOT_USED = [("", "not used")]
NOT_OURS = "none"
PLAN_NAMES = {
    Plan.SCHEDULED: "scheduled",
    Plan.ON_HOLD: "on hold",
    Plan.DONE: "done",
    Plan.CANCELLED: "cancelled",
}
# So many words at once; the others come when these are said.
MOST_WORDS = 40


def _select() -> forms.Select:
    return forms.Select(attrs={"class": "form-select"})


class ColumnsForm(forms.Form):
    """One choice for each column of a file. Cleaned to `columns`, ours by their number from 0."""

    def __init__(
        self, shown: Outline, places: Mapping[Column, int], *args: Any, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.shown = shown
        self.columns: dict[int, Column] = {}
        known = {number: column for column, number in places.items()}
        needed = [(column, name) for column, name in NAMES.items() if column in NEEDED]
        useful = [(column, name) for column, name in NAMES.items() if column not in NEEDED]
        for number, heading in enumerate(shown.headings):
            self.fields[f"column_{number}"] = forms.ChoiceField(
                required=False,
                label=heading.strip() or f"Column {number + 1}",
                initial=known.get(number, ""),
                choices=[*NOT_USED, ("Needed", needed), ("Useful", useful)],
                widget=_select(),
            )

    def rows(self) -> list[tuple[forms.BoundField, tuple[str, ...]]]:
        """Return each choice with the first values of its column."""
        return [(self[name], self.shown.examples[n]) for n, name in enumerate(self.fields)]

    def clean(self) -> dict[str, Any]:
        """No column of ours twice, and none of the needed ones missing."""
        places: dict[Column, int] = {}
        for number, name in enumerate(self.fields):
            value = self.cleaned_data.get(name)
            if not value:
                continue
            column = Column(value)
            if column in places:
                other = self.fields[f"column_{places[column]}"].label
                self.add_error(name, f"“{NAMES[column]}” is chosen for “{other}” too.")
                continue
            places[column] = number
            self.columns[number] = column
        missing = Header(places, (), ()).missing
        if missing and not self.errors:
            words = "; ".join(WORDS[column] for column in missing)
            raise forms.ValidationError(f"Say also which column is: {words}.")
        return self.cleaned_data


NEEDED = (
    Column.MRN,
    Column.FAMILY_NAMES,
    Column.GIVEN_NAMES,
    Column.FULL_NAME,
    Column.BIRTH_DATE,
    Column.PROCEDURE,
    Column.PROCEDURE_CODE,
    Column.OR_DATE,
)
ORDERS = {"day": True, "month": False}


class WordsForm(forms.Form):
    """What the words of the status column and the names of procedures mean, and the date order.

    Cleaned to `plans`, `procedures`, `unsaid` (the words that mean nothing) and `day_first`.
    """

    def __init__(
        self,
        found: Preview,
        statuses: Sequence[str],
        procedures: Sequence[str],
        *args: Any,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        said = found.reading
        self.statuses = {f"plan_{_digest(word)}": word for word in statuses[:MOST_WORDS]}
        self.names = {f"procedure_{_digest(word)}": word for word in procedures[:MOST_WORDS]}
        self.left = max(0, len(procedures) - MOST_WORDS) + max(0, len(statuses) - MOST_WORDS)
        plans = PLANS | (dict(said.plans) if said else {})
        meant = dict(said.procedures) if said else {}
        for name, word in self.statuses.items():
            choices = [("", "not said: such rows are rejected"), *PLAN_NAMES.items()]
            self._add(name, word, choices, plans.get(written(word), ""))
        ours = [(str(pk), procedure) for pk, procedure in found.procedures.items()]
        for name, word in self.names.items():
            initial = meant.get(written(word), "")
            choices = [
                ("", "not said: such rows are rejected"),
                (NOT_OURS, "not one of our procedures"),
                *ours,
            ]
            self._add(name, word, choices, NOT_OURS if initial is None else str(initial))
        self.asks_order = found.date_orders[Order.EITHER] > 0
        if self.asks_order:
            order = {None: "", True: "day", False: "month"}[said.day_first if said else None]
            self.fields["order"] = forms.ChoiceField(
                required=False,
                label="03/04/2027 in these files is",
                initial=order,
                choices=[
                    ("", "asked about each time"),
                    ("day", "3 April: the day comes first"),
                    ("month", "March 4: the month comes first"),
                ],
                widget=_select(),
            )

    def _add(self, name: str, word: str, choices: Any, initial: object) -> None:
        self.fields[name] = forms.ChoiceField(
            required=False, label=word, initial=initial, choices=choices, widget=_select()
        )

    def status_fields(self) -> list[forms.BoundField]:
        """The choices about the status column."""
        return [self[name] for name in self.statuses]

    def procedure_fields(self) -> list[forms.BoundField]:
        """The choices about procedures."""
        return [self[name] for name in self.names]

    @property
    def plans(self) -> dict[str, Plan]:
        """What the words of the status column mean; those that mean what they always do are out."""
        chosen = {word: self.cleaned_data[name] for name, word in self.statuses.items()}
        return {
            written(word): Plan(plan)
            for word, plan in chosen.items()
            if plan and PLANS.get(written(word)) != plan
        }

    @property
    def procedures(self) -> dict[str, int | None]:
        """Which procedures the names mean; None is one that is not ours."""
        chosen = {word: self.cleaned_data[name] for name, word in self.names.items()}
        return {
            written(word): None if value == NOT_OURS else int(value)
            for word, value in chosen.items()
            if value
        }

    @property
    def unsaid(self) -> set[str]:
        """The words that were shown and for which nothing was chosen."""
        shown = {written(word) for word in (*self.statuses.values(), *self.names.values())}
        return shown - set(self.plans) - set(self.procedures)

    @property
    def day_first(self) -> bool | None:
        """How dates in numbers are read; None: asked about each time."""
        return ORDERS.get(self.cleaned_data.get("order", ""))


def _digest(word: str) -> str:
    """One name for a word, however the list around it changes between showing and sending."""
    return hashlib.sha256(written(word).encode("utf-8", "surrogatepass")).hexdigest()[:16]
