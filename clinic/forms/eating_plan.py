"""What staff type about one patient's eating plan."""

from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from clinic import eating_words
from education.eating_record import COLUMN, TypedFacts
from education.models import EatingFacts, GivenBy
from education.rules.body_numbers import Sex
from education.rules.label import Label, Nutrient, Printed
from education.rules.may_give import Medicine
from education.rules.measures import MeasureProblem, doubts, read_height, read_weight
from education.rules.patient_numbers import LIKELY_OWN, OwnNumber

LONGEST = 90  # days after the OR date
NOT_ASKED, NO, YES = "", "no", "yes"
ANSWERS = [(NOT_ASKED, "not asked yet"), (NO, "no"), (YES, "yes")]
ASKED = {
    Medicine.DIABETES: "Takes insulin or other diabetes medicine",
    Medicine.BLOOD_THINNER: "Takes a blood thinner",
    Medicine.BLOOD_PRESSURE: "Takes blood-pressure or water tablets",
    Medicine.PREGNANCY: "Is pregnant, or may be",
}


class FactsForm(forms.Form):
    """A patient's facts, whole. An unlikely measure is asked about once, and never guessed."""

    weight = forms.CharField(
        required=False,
        max_length=40,
        label="Weight, with its unit",
        help_text="As in 264.5 lb, 18 st 12 lb, or 120 kg.",
    )
    height = forms.CharField(
        required=False,
        max_length=40,
        label="Height, with its unit",
        help_text="As in 5 ft 5 in, 5'5\", 65 in, or 165 cm.",
    )
    as_typed = forms.BooleanField(required=False, label="Weight and height are right as typed")
    sex = forms.ChoiceField(
        required=False,
        choices=[("", "not known"), (Sex.FEMALE.value, "female"), (Sex.MALE.value, "male")],
        label="Sex, for the formulas",
        help_text="Devine’s and Mifflin’s formulas know these two.",
    )
    diabetes = forms.ChoiceField(required=False, choices=ANSWERS, label=ASKED[Medicine.DIABETES])
    blood_thinner = forms.ChoiceField(
        required=False, choices=ANSWERS, label=ASKED[Medicine.BLOOD_THINNER]
    )
    blood_pressure = forms.ChoiceField(
        required=False, choices=ANSWERS, label=ASKED[Medicine.BLOOD_PRESSURE]
    )
    pregnancy = forms.ChoiceField(required=False, choices=ANSWERS, label=ASKED[Medicine.PREGNANCY])
    fasting_order = forms.CharField(
        required=False,
        max_length=500,
        label="The surgical team’s fasting order, word for word",
        help_text="It is printed as it stands here, in place of “nothing by mouth from midnight”.",
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    fasting_order_by = forms.CharField(
        required=False, max_length=200, label="Who gave the order, and when"
    )

    def clean(self) -> dict[str, Any]:
        """Read the measures; ask where they are unlikely."""
        cleaned = super().clean() or {}
        kg = self._measure("weight", read_weight)
        cm = self._measure("height", read_height)
        cleaned["kg"], cleaned["cm"] = kg, cm
        asked = doubts(kg=kg, cm=cm)
        if asked and not cleaned.get("as_typed") and not self.errors:
            read = [
                eating_words.weight(kg) if kg is not None else "",
                eating_words.height(cm) if cm is not None else "",
            ]
            said = " ".join(eating_words.DOUBT[one] for one in asked)
            self.add_error(
                "as_typed",
                f"{said} Read as {' and '.join(filter(None, read))}. Correct it, or tick this.",
            )
        if cleaned.get("fasting_order") and not cleaned.get("fasting_order_by"):
            self.add_error("fasting_order_by", "Say who gave the order.")
        return cleaned

    def _measure(self, name: str, read: Any) -> Decimal | None:
        typed = self.cleaned_data.get(name, "")
        if not typed:
            return None
        found = read(typed)
        if isinstance(found, MeasureProblem):
            self.add_error(name, eating_words.MEASURE_PROBLEM[found])
            return None
        value: Decimal = found
        return value

    def facts(self) -> TypedFacts:
        """Return what was typed, as the act takes it."""
        typed = self.cleaned_data
        meant = {NOT_ASKED: None, NO: False, YES: True}
        return TypedFacts(
            weight_typed=typed["weight"],
            weight_kg=typed["kg"],
            height_typed=typed["height"],
            height_cm=typed["cm"],
            sex=Sex(typed["sex"]) if typed["sex"] else None,
            said={medicine: meant[typed[column]] for medicine, column in COLUMN.items()},
            fasting_order=typed["fasting_order"],
            fasting_order_by=typed["fasting_order_by"],
        )


def facts_initial(facts: EatingFacts | None) -> dict[str, Any]:
    """Return the facts in force as the initial values of their form."""
    if facts is None:
        return {}
    said = {None: NOT_ASKED, False: NO, True: YES}
    return {
        "weight": facts.weight_typed,
        "height": facts.height_typed,
        "sex": facts.sex_for_formulas,
        "fasting_order": facts.fasting_order,
        "fasting_order_by": facts.fasting_order_by,
        **{column: said[getattr(facts, column)] for column in COLUMN.values()},
    }


class ChoicesForm(forms.Form):
    """Days of solid meals, nights in hospital, the first visit: one operation’s."""

    meals = forms.TypedMultipleChoiceField(
        required=False,
        coerce=int,
        widget=forms.CheckboxSelectMultiple,
        label="Days of the solid meals",
    )
    nights = forms.IntegerField(min_value=0, max_value=30, label="Nights in hospital")
    first_visit_days = forms.IntegerField(
        min_value=1, max_value=90, label="First visit, days after the OR date"
    )
    home_on = forms.DateField(
        required=False,
        label="Goes home, or went home, on",
        help_text="Once it is known. The plan then counts from this day, not from the nights.",
        widget=forms.DateInput(attrs={"type": "date"}),
    )
    first_visit_on = forms.DateField(
        required=False,
        label="First visit, booked for",
        help_text="Once it is booked. It stays when the OR date moves, and the plan ends on it.",
        widget=forms.DateInput(attrs={"type": "date"}),
    )
    reason = forms.CharField(
        required=False,
        max_length=500,
        label="Why this patient’s plan is another one",
        help_text="Needed where nights or first visit are not the programme’s usual ones.",
    )

    def __init__(
        self,
        *args: Any,
        days: Sequence[tuple[int, str]],
        usual: tuple[int, int],
        or_date: date | None,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.usual = usual
        self.or_date = or_date
        self.fields["meals"].choices = days  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        """A stay that is not the usual one needs a reason; the visit is after discharge."""
        cleaned = super().clean() or {}
        nights, visit = cleaned.get("nights"), cleaned.get("first_visit_days")
        if nights is None or visit is None:
            return cleaned
        if visit <= nights:
            self.add_error("first_visit_days", "The first visit is after the patient went home.")
        if (nights, visit) != self.usual and not cleaned.get("reason"):
            self.add_error("reason", "Say why.")
        self._booked(nights, cleaned.get("home_on"), cleaned.get("first_visit_on"))
        return cleaned

    def _booked(self, nights: int, home_on: date | None, first_visit_on: date | None) -> None:
        """A booked day is counted from the OR date, and lies within what is likely."""
        if self.or_date is None:
            for name, typed in (("home_on", home_on), ("first_visit_on", first_visit_on)):
                if typed:
                    self.add_error(name, "There is no OR date yet to count from.")
            return
        if home_on and home_on < self.or_date:
            self.add_error("home_on", "This is before the OR date.")
        elif home_on and (home_on - self.or_date).days > LONGEST:
            self.add_error("home_on", f"This is more than {LONGEST} days after the OR date.")
        home = home_on or self.or_date + timedelta(days=nights)
        if first_visit_on and first_visit_on <= home:
            self.add_error("first_visit_on", "The first visit is after the patient went home.")
        elif first_visit_on and (first_visit_on - self.or_date).days > LONGEST:
            self.add_error("first_visit_on", f"This is more than {LONGEST} days after the OR date.")


class SetAsideForm(forms.Form):
    """A number of the dietitian’s own, with the reason."""

    what = forms.ChoiceField(
        choices=[(one.value, eating_words.OWN_NUMBER[one]) for one in OwnNumber], label="Number"
    )
    value = forms.DecimalField(
        required=False,
        max_digits=8,
        decimal_places=2,
        label="Value for this patient",
        help_text="Leave it empty to use the computed number again.",
    )
    reason = forms.CharField(max_length=500, widget=forms.Textarea(attrs={"rows": 3}))

    def clean(self) -> dict[str, Any]:
        """A value far from any that is likely is a slip of the keyboard or of the unit."""
        cleaned = super().clean() or {}
        what, value = cleaned.get("what"), cleaned.get("value")
        if what and value is not None:
            least, most = LIKELY_OWN[OwnNumber(what)]
            if not least <= value <= most:
                raise ValidationError(
                    {"value": f"This is unlikely. Type a number from {least} to {most}."}
                )
        return cleaned


class DiscussedForm(forms.Form):
    """A clinician’s signature: what was discussed, and with whom."""

    note = forms.CharField(
        max_length=500,
        label="What was discussed, and with whom",
        help_text="This page computes no dose and no day to stop a medicine.",
        widget=forms.Textarea(attrs={"rows": 3}),
    )


class GiveForm(forms.Form):
    """How the patient got the plan."""

    means = forms.ChoiceField(
        choices=[(one.value, eating_words.GIVEN[one]) for one in GivenBy], label="Given"
    )


class SupplementForm(forms.Form):
    """One product: protein in a serving, servings in a package."""

    grams = forms.DecimalField(
        min_value=0, max_value=100, decimal_places=1, label="Protein in one serving, g"
    )
    package = forms.IntegerField(
        min_value=1, max_value=500, required=False, label="Servings in one package"
    )


class LabelForm(forms.Form):
    """What is printed on a product, and which stage it is for."""

    stage = forms.ChoiceField(label="For the stage")
    per = forms.ChoiceField(
        choices=[("serving", "one serving"), ("100", "100 g or 100 mL")],
        label="The numbers are for",
    )
    serving = forms.DecimalField(
        required=False,
        min_value=Decimal("0.1"),
        max_value=2000,
        decimal_places=1,
        label="One serving, g or mL",
        help_text="Needed where the label gives 100 g or 100 mL only.",
    )

    def __init__(self, *args: Any, stages: Sequence[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["stage"].choices = stages  # type: ignore[attr-defined]
        for before, after in (("sold", "as sold"), ("mixed", "in what it is mixed with")):
            for nutrient in Nutrient:
                name, unit = eating_words.NUTRIENT[nutrient]
                self.fields[f"{before}_{nutrient}"] = forms.DecimalField(
                    required=False,
                    min_value=0,
                    max_value=5000,
                    decimal_places=2,
                    label=f"{name.capitalize()} {after}, {unit}",
                )

    def label(self) -> Label:
        """Return what was typed; an empty number is not printed, and never nought."""
        typed = self.cleaned_data
        mixed = _printed(typed, "mixed")
        return Label(
            printed=_printed(typed, "sold"),
            per_100=typed["per"] == "100",
            serving=typed["serving"],
            mixed_with=None if mixed == Printed() else mixed,
        )


def _printed(typed: dict[str, Any], before: str) -> Printed:
    return Printed(**{nutrient.value: typed[f"{before}_{nutrient}"] for nutrient in Nutrient})
