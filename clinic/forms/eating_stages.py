"""What the dietitian or administrator types about the stages of the eating plan."""

import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from education.rules.body_numbers import WEIGHT_BASES, Basis
from education.rules.eating_stages import Anchor, Stage
from education.rules.stage_text import FURTHEST, KEY, MAX_LINES, MAX_TEXT, REQUIRED, Data, as_data
from patients.rules.languages import added, codes, name_of

ANCHORS = [
    (Anchor.OPERATION.value, "from the OR date"),
    (Anchor.DISCHARGE.value, "from discharge"),
    (Anchor.FIRST_VISIT.value, "from the first visit"),
]
BASES = {
    Basis.DEVINE: "Ideal weight (Devine)",
    Basis.BMI_25: "Weight at BMI 25",
    Basis.ADJUSTED: "Adjusted weight",
    Basis.ACTUAL: "Actual weight",
}
LIMITS = {
    "protein_at_least": "Protein in a serving at least, g",
    "sugars_at_most": "Total sugars in a serving at most, g",
    "added_sugars_at_most": "Added sugars in a serving at most, g",
    "energy_at_most": "Energy in a serving at most, kcal",
    "caffeine_at_most": "Caffeine in a serving at most, mg",
}


class DaysForm(forms.Form):
    """One stage's name and days; an empty row adds nothing."""

    key = forms.CharField(required=False, max_length=60, widget=forms.HiddenInput)
    name_en = forms.CharField(required=False, max_length=MAX_TEXT, label="Name")
    name_es = forms.CharField(required=False, max_length=MAX_TEXT, label="Name in Spanish")
    first_days = forms.IntegerField(
        required=False, min_value=-FURTHEST, max_value=FURTHEST, label="First day"
    )
    first_from = forms.ChoiceField(choices=ANCHORS, label="First day is counted")
    last_days = forms.IntegerField(
        required=False, min_value=-FURTHEST, max_value=FURTHEST, label="Last day"
    )
    last_from = forms.ChoiceField(choices=ANCHORS, label="Last day is counted")
    remove = forms.BooleanField(required=False, label="Take this stage out")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for one in added():
            self.fields[f"name_{one.code}"] = forms.CharField(
                required=False, max_length=MAX_TEXT, label=f"Name in {one.name}"
            )

    @property
    def further_names(self) -> list[forms.BoundField]:
        """The names in languages that a programme added; they may stay empty."""
        return [self[f"name_{one.code}"] for one in added()]

    @property
    def is_empty(self) -> bool:
        """Whether nothing was typed into the row of a new stage."""
        cleaned = getattr(self, "cleaned_data", {})
        typed = (cleaned.get(name) for name in ("name_en", "name_es", "first_days", "last_days"))
        return not cleaned.get("key") and all(value in (None, "") for value in typed)

    def clean(self) -> dict[str, Any]:
        """A stage has a name, in English and in Spanish, and both days."""
        cleaned = super().clean() or {}
        if not self.is_empty and not cleaned.get("remove"):
            for name in ("name_en", "name_es", "first_days", "last_days"):
                if cleaned.get(name) in (None, "") and name not in self.errors:
                    self.add_error(name, "Please give it.")
        return cleaned

    def applied(self, before: Stage | None) -> Data:
        """Return the stage as data: `before` with these days and names, or a new one."""
        typed = self.cleaned_data
        data: Data = (
            as_data(before)
            if before
            else {
                **{part: {code: [] for code in codes()} for part in PARTS},
                "key": slug(typed["name_en"]),
            }
        )
        data["name"] = {code: typed[f"name_{code}"] for code in codes()}
        data["first"] = {"from": typed["first_from"], "days": typed["first_days"]}
        data["last"] = {"from": typed["last_from"], "days": typed["last_days"]}
        return data


DaysFormSet = forms.formset_factory(DaysForm, extra=1, max_num=20, validate_max=True)
PARTS = {
    "allowed": "Allowed",
    "avoided": "Not allowed",
    "to_do": "What to do",
}


def days_of(stage: Stage) -> dict[str, Any]:
    """Return a stage as the initial values of its row."""
    return {
        "key": stage.key,
        **{f"name_{code}": stage.name.get(code, "") for code in codes()},
        "first_from": stage.first.anchor.value,
        "first_days": stage.first.days,
        "last_from": stage.last.anchor.value,
        "last_days": stage.last.days,
    }


def slug(name: str) -> str:
    """Return the key of a new stage, made of its English name."""
    made = re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")[:60].strip("-")
    return made if KEY.fullmatch(made) else "stage"


class NumbersForm(forms.Form):
    """The programme's numbers of the eating plan."""

    fewest_nights = forms.IntegerField(
        min_value=0, max_value=30, label="Nights in hospital, at least"
    )
    most_nights = forms.IntegerField(min_value=0, max_value=30, label="Nights in hospital, at most")
    usual_nights = forms.IntegerField(min_value=0, max_value=30, label="Nights, unless chosen")
    earliest_visit = forms.IntegerField(
        min_value=1, max_value=90, label="First visit, days after the OR date, from"
    )
    latest_visit = forms.IntegerField(
        min_value=1, max_value=90, label="First visit, days after the OR date, to"
    )
    usual_visit = forms.IntegerField(min_value=1, max_value=90, label="First visit, unless chosen")
    protein_floor_g = forms.IntegerField(
        min_value=0, max_value=200, label="Protein, at least, g a day"
    )
    protein_low_per_kg = forms.DecimalField(
        min_value=0, max_value=Decimal("2.1"), decimal_places=2, label="Protein from, g for each kg"
    )
    protein_high_per_kg = forms.DecimalField(
        min_value=0,
        max_value=Decimal("2.1"),
        decimal_places=2,
        label="Protein to, g for each kg",
        help_text="Guidelines are quoted with 1.5 g for each kg of ideal weight (from memory).",
    )
    protein_basis = forms.ChoiceField(
        choices=[(one.value, BASES[one]) for one in WEIGHT_BASES],
        label="Of which weight",
        help_text="It is printed beside the target: it changes the number by a fifth and more.",
    )
    adjusted_factor = forms.DecimalField(
        min_value=0,
        max_value=1,
        decimal_places=2,
        label="Factor of the adjusted weight",
        help_text="Sources print 0.25 for nutrition and 0.4 for drug dosing.",
    )
    fluid_ml = forms.IntegerField(
        min_value=250,
        max_value=5000,
        label="Fluid, mL a day",
        help_text="Published targets are 1500 mL and 64 US fl oz, which is 1893 mL.",
    )
    sip_oz = forms.DecimalField(
        min_value=Decimal("0.25"), max_value=8, decimal_places=2, label="One sip, US fl oz"
    )
    sip_minutes = forms.IntegerField(min_value=1, max_value=120, label="A sip every, minutes")
    bedtime = forms.TimeField(
        label="Bedtime", widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
    )
    protein_per_serving_g = forms.DecimalField(
        min_value=Decimal("5"),
        max_value=60,
        decimal_places=1,
        label="Protein in one serving of the supplement, g",
    )
    servings_in_package = forms.IntegerField(
        min_value=1, max_value=200, required=False, label="Servings in one package, if known"
    )
    fever = forms.CharField(
        max_length=40,
        required=False,
        label="Fever: call from",
        help_text="As in “101 °F (38.3 °C)”. Leaflets differ, so without it no number is printed.",
    )
    reason = forms.CharField(max_length=500, required=False, label="Why it is changed")

    def clean(self) -> dict[str, Any]:
        """Each range must begin before it ends, and hold what is usual."""
        cleaned = super().clean() or {}
        for least, usual, most in (
            ("fewest_nights", "usual_nights", "most_nights"),
            ("earliest_visit", "usual_visit", "latest_visit"),
        ):
            low, between, high = (cleaned.get(name) for name in (least, usual, most))
            if None in (low, between, high):
                continue
            if not low <= between <= high:  # type: ignore[operator]
                self.add_error(usual, "This must lie between the least and the most.")
        low, high = cleaned.get("protein_low_per_kg"), cleaned.get("protein_high_per_kg")
        if low is not None and high is not None and high < low:
            self.add_error("protein_high_per_kg", "The range ends before it begins.")
        return cleaned


class StageForm(forms.Form):
    """What one stage says and allows; its days are on the page of all days."""

    supplements = forms.IntegerField(min_value=0, max_value=12, label="Protein supplements a day")
    energy_low = forms.IntegerField(
        min_value=100, max_value=5000, required=False, label="Energy from, kcal a day"
    )
    energy_high = forms.IntegerField(
        min_value=100, max_value=5000, required=False, label="Energy to, kcal a day"
    )
    counts_fluid = forms.BooleanField(required=False, label="The fluid target holds on these days")
    nothing_by_mouth = forms.BooleanField(
        required=False,
        label="Nothing by mouth",
        help_text="Then the fasting order on a patient’s record is printed here, as it was given.",
    )
    meal_count = forms.IntegerField(
        min_value=1, max_value=60, required=False, label="Solid meals, how many"
    )
    meal_apart = forms.IntegerField(
        min_value=1,
        max_value=30,
        required=False,
        label="From one solid meal to the next at least, days",
    )
    meal_last_days = forms.IntegerField(
        min_value=-FURTHEST,
        max_value=FURTHEST,
        required=False,
        label="Last day for a solid meal, from the OR date",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for code in codes():
            self.fields[f"meal_{code}"] = forms.CharField(
                required=False,
                max_length=MAX_TEXT,
                label=f"What a solid meal is, in {name_of(code)}",
            )
        for name, label in LIMITS.items():
            self.fields[name] = forms.DecimalField(
                required=False, min_value=0, max_value=5000, decimal_places=1, label=label
            )
        for part, label in PARTS.items():
            for code in codes():
                self.fields[f"{part}_{code}"] = forms.CharField(
                    required=False,
                    max_length=MAX_LINES * MAX_TEXT,
                    label=f"{label}, in {name_of(code)}",
                    help_text="One on each line, in the same order in each language.",
                    widget=forms.Textarea(attrs={"rows": 5}),
                )

    def clean(self) -> dict[str, Any]:
        """Ranges and meals are given whole or not at all."""
        cleaned = super().clean() or {}
        low, high = cleaned.get("energy_low"), cleaned.get("energy_high")
        if (low is None) != (high is None):
            raise ValidationError("Energy: give both ends of the range, or none.")
        if low is not None and high is not None and high < low:
            raise ValidationError("Energy: the range ends before it begins.")
        meals = ("meal_count", "meal_apart", "meal_last_days", "meal_en", "meal_es")
        given = [cleaned.get(name) not in (None, "") for name in meals]
        if any(given) and not all(given):
            raise ValidationError("Solid meals: fill in all five, or none.")
        for part, label in PARTS.items():
            typed = {code: lines(cleaned.get(f"{part}_{code}")) for code in codes()}
            if len({len(said) for code, said in typed.items() if said or code in REQUIRED}) > 1:
                raise ValidationError(f"{label}: as many lines in each language.")
        return cleaned

    @property
    def words(self) -> list[forms.BoundField]:
        """The fields that patients read, each in every language."""
        return [self[f"{part}_{code}"] for part in ("meal", *PARTS) for code in codes()]

    @property
    def numbers(self) -> list[forms.BoundField]:
        """All other fields."""
        words = {field.name for field in self.words}
        return [field for field in self if field.name not in words]

    def applied(self, before: Stage) -> Data:
        """Return the stage as data, with what was typed."""
        typed = self.cleaned_data
        data = as_data(before)
        data["supplements"] = typed["supplements"]
        data["counts_fluid"] = typed["counts_fluid"]
        data["nothing_by_mouth"] = typed["nothing_by_mouth"]
        data["energy"] = (
            [typed["energy_low"], typed["energy_high"]] if typed["energy_low"] is not None else None
        )
        data["limits"] = {name: str(typed[name]) for name in LIMITS if typed.get(name) is not None}
        data["meals"] = (
            {
                "count": typed["meal_count"],
                "apart": typed["meal_apart"],
                "last_days": typed["meal_last_days"],
            }
            if typed["meal_count"]
            else None
        )
        data["meal"] = {code: typed[f"meal_{code}"] for code in codes()}
        for part in PARTS:
            data[part] = {code: lines(typed[f"{part}_{code}"]) for code in codes()}
        return data


def lines(text: str | None) -> list[str]:
    """Return the lines of a text that say something."""
    return [line.strip() for line in (text or "").splitlines() if line.strip()]


def stage_initial(stage: Stage) -> dict[str, Any]:
    """Return a stage as the initial values of its form."""
    shown: dict[str, Any] = {
        "supplements": stage.supplements,
        "counts_fluid": stage.counts_fluid,
        "nothing_by_mouth": stage.nothing_by_mouth,
    }
    if stage.energy:
        shown["energy_low"], shown["energy_high"] = stage.energy
    if stage.meals:
        shown["meal_count"] = stage.meals.count
        shown["meal_apart"] = stage.meals.apart
        shown["meal_last_days"] = stage.meals.last_days
    shown |= {f"meal_{code}": stage.meal.get(code, "") for code in codes()}
    shown |= {name: getattr(stage.limits, name) for name in LIMITS}
    texts: Mapping[str, Mapping[str, tuple[str, ...]]] = {
        "allowed": stage.allowed,
        "avoided": stage.avoided,
        "to_do": stage.to_do,
    }
    for part, by_language in texts.items():
        for code in codes():
            shown[f"{part}_{code}"] = "\n".join(by_language.get(code, ()))
    return shown
