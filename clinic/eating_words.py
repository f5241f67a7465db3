"""The eating plan in words, for staff; what patients read is in education/eating_texts.py."""

from datetime import date, timedelta
from decimal import Decimal

from clinic.day_words import day, days, short_day
from education.models import EatingChoices, GivenBy
from education.plan_link import PlanRefusal
from education.rules.body_numbers import Basis, Caution, Figure, Missing, Source
from education.rules.booked_stay import StayDoubt
from education.rules.eating_plan import NoDates, Note, Told
from education.rules.eating_stages import Anchor, Edge, Finding, Flaw, Stage
from education.rules.fluids import us_fl_oz, whole
from education.rules.label import Nutrient, Reason, Way, Why, Word
from education.rules.may_give import Hold, Medicine
from education.rules.measures import Doubt, MeasureProblem, feet_inches, pounds
from education.rules.patient_numbers import OwnNumber

ANCHOR = {
    Anchor.OPERATION: "the OR date",
    Anchor.DISCHARGE: "discharge",
    Anchor.FIRST_VISIT: "the first visit",
}
BASIS = {
    Basis.SETTING: "the programme’s setting",
    Basis.DEVINE: "ideal weight (Devine)",
    Basis.BMI_25: "weight at BMI 25",
    Basis.ADJUSTED: "adjusted weight",
    Basis.ACTUAL: "actual weight",
    Basis.HEIGHT_AND_WEIGHT: "height and weight",
    Basis.MIFFLIN: "actual weight, height, age, sex (Mifflin-St Jeor)",
    Basis.OVERRIDE: "set for this patient by staff",
}
SOURCE = {
    Source.DEVINE_1974: "Devine 1974",
    Source.WHO: "WHO",
    Source.MIFFLIN_1990: "Am J Clin Nutr 1990;51:241",
    Source.ADJUSTED_NUTRITION: "factor 0.25, as printed for nutrition",
    Source.ADJUSTED_DRUGS: "factor 0.4, as printed for drug dosing",
    Source.PROGRAMME: "the programme’s own setting",
    Source.STAFF: "entered by staff",
}
MISSING = {
    Missing.HEIGHT: "not known: height is missing",
    Missing.WEIGHT: "not known: weight is missing",
    Missing.SEX: "not known: sex for the formula is missing",
    Missing.BELOW_60_INCHES: "not defined below 60 inches (152.4 cm): set one by hand",
}
CAUTION = {Caution.OUTSIDE_AGES: "derived on people of 19 to 78 years; this patient is not"}
OWN_NUMBER = {
    OwnNumber.IDEAL_WEIGHT: "Ideal weight, kg",
    OwnNumber.BMI_25_WEIGHT: "Weight at BMI 25, kg",
    OwnNumber.ADJUSTED_WEIGHT: "Adjusted weight, kg",
    OwnNumber.RESTING_ENERGY: "Resting energy, kcal a day",
    OwnNumber.PROTEIN_LOW: "Protein target from, g a day",
    OwnNumber.PROTEIN_HIGH: "Protein target to, g a day",
    OwnNumber.FLUID: "Fluid target, mL a day",
    OwnNumber.PROTEIN_PER_SERVING: "Protein in one serving of the supplement, g",
}
MEDICINE = {
    Medicine.DIABETES: "insulin or other diabetes medicine",
    Medicine.BLOOD_THINNER: "a blood thinner",
    Medicine.BLOOD_PRESSURE: "blood-pressure or water tablets",
    Medicine.PREGNANCY: "pregnant, or may be",
}
HOLD = {
    Hold.NOT_ASKED: (
        "Not every medicine, or not pregnancy, was asked about. What was not asked is not “no”."
    ),
    Hold.DIABETES_NOT_DISCUSSED: (
        "Takes insulin or other diabetes medicine: a clinician has to sign that it was discussed."
    ),
    Hold.PREGNANCY_NOT_DISCUSSED: (
        "Pregnant, or may be: a clinician has to sign that it was discussed."
    ),
    Hold.STAGES_NOT_READY: "The programme’s stages do not fit together.",
}
NO_DATES = {
    NoDates.NO_OR_DATE: "There is no OR date yet, so the plan has no dates.",
    NoDates.CANCELLED: "The operation is cancelled, so the plan has no dates.",
    NoDates.DATE_PASSED: (
        "The OR date is past, and nobody said that the operation was done. So no dates are shown."
    ),
    NoDates.OVER: "The last day of the plan is past.",
}
PLAN_REFUSAL = {
    PlanRefusal.NO_EMAIL: "no email address is on file",
    PlanRefusal.HELD: "something holds the plan, or it has no dates",
}
STAY_DOUBT = {
    StayDoubt.HOME_BEFORE_OPERATION: (
        "The day of going home that was typed is before the OR date, so the plan counts nights. "
        "Type another day."
    ),
    StayDoubt.VISIT_NOT_AFTER_HOME: (
        "The first visit is not after the day of going home, so the plan counts the usual days. "
        "Book another day."
    ),
}
GIVEN = {
    GivenBy.PRINT: "on paper",
    GivenBy.EMAIL: "by email",
    GivenBy.PHONE: "read out on the phone",
}
MEASURE_PROBLEM = {
    MeasureProblem.EMPTY: "Type a number and its unit.",
    MeasureProblem.TOO_LONG: "That is too long for a number and a unit.",
    MeasureProblem.NOT_A_MEASURE: "This cannot be read. Type a number and its unit.",
    MeasureProblem.NO_UNIT: "Which unit is it? Type it behind the number.",
    MeasureProblem.TOO_MANY_INCHES: "A foot has 12 inches: type fewer than 12.",
    MeasureProblem.TOO_MANY_POUNDS: "A stone has 14 pounds: type fewer than 14.",
    MeasureProblem.COULD_BE_TWO: "This could be two numbers. Type it without the comma or point.",
}
DOUBT = {
    Doubt.WEIGHT_UNLIKELY: "This weight is unlikely. Is the unit right?",
    Doubt.HEIGHT_UNLIKELY: "This height is unlikely. Is the unit right?",
    Doubt.TOGETHER_UNLIKELY: "Weight and height do not go well together. Are both units right?",
}
NUTRIENT = {
    Nutrient.PROTEIN: ("protein", "g"),
    Nutrient.SUGARS: ("total sugars", "g"),
    Nutrient.ADDED_SUGARS: ("added sugars", "g"),
    Nutrient.ENERGY: ("energy", "kcal"),
    Nutrient.CAFFEINE: ("caffeine", "mg"),
}
LABEL = {
    Word.FITS: "It fits",
    Word.DOES_NOT_FIT: "It does not fit",
    Word.CANNOT_TELL: "Cannot tell",
}
WAY = {Way.AS_SOLD: "as sold", Way.AS_DRUNK: "as drunk"}


def choice(row: EatingChoices) -> str:
    """Return what was chosen for one operation."""
    meals = ", ".join(from_or_date(offset) for offset in row.meals) or "none chosen"
    home = f"home {day(row.home_on)}" if row.home_on else _nights(row.nights)
    visit = (
        f"first visit {day(row.first_visit_on)}"
        if row.first_visit_on
        else f"first visit after {days(row.first_visit_days)}"
    )
    return f"Solid meals: {meals}; {home}; {visit}"


def edge(value: Edge) -> str:
    """Return the first or last day of a stage: 14 days before the OR date."""
    anchor = ANCHOR[value.anchor]
    if value.days == 0:
        return f"the day of {anchor}" if value.anchor != Anchor.OPERATION else "the OR date"
    return f"{days(abs(value.days))} {'before' if value.days < 0 else 'after'} {anchor}"


def from_or_date(offset: int) -> str:
    """Return a day said from the OR date."""
    return edge(Edge(Anchor.OPERATION, offset))


def finding(found: Finding, names: dict[str, str]) -> str:
    """Return what is wrong with the stages, in words."""
    said = [f"“{names.get(key, key)}”" for key in found.stages]
    if found.first is not None and found.last is not None:
        when = from_or_date(found.first)
        if found.last != found.first:
            when = f"{when} to {from_or_date(found.last)}"
        stay = ""
        if found.stay:
            stay = (
                f" (with {_nights(found.stay.nights)} in hospital and the first visit "
                f"{days(found.stay.first_visit_days)} after the OR date)"
            )
        if found.flaw == Flaw.OVERLAP:
            return f"{said[0]} and {said[1]} overlap: {when} is in both{stay}."
        return f"There is a gap between {said[0]} and {said[1]}: {when} is in no stage{stay}."
    if found.flaw == Flaw.NO_STAGES:
        return "There is no stage."
    return _of_one(found.flaw, said[0])


def _of_one(flaw: Flaw, name: str) -> str:
    return {
        Flaw.BACKWARDS: f"{name} ends before it begins.",
        Flaw.SAME_KEY: f"{name} is there twice.",
        Flaw.MEALS_OUTSIDE: f"{name}: the last day for a solid meal is not one of its days.",
        Flaw.MEALS_DO_NOT_FIT: f"{name}: so many solid meals, so far apart, do not fit into it.",
        Flaw.ENERGY_UNUSUAL: (
            f"{name}: the energy is outside 800 to 1200 kcal a day, the range of a systematic "
            "review (Obes Surg 2021;31:350). A dietitian should confirm it."
        ),
    }[flaw]


def _nights(count: int) -> str:
    return f"{count} night" if count == 1 else f"{count} nights"


def told(note: Told, *, today: date) -> str:
    """Return a note about a plan, in words. "" for one that needs none."""
    first = note.days[0] if note.days else None
    when = day(first) if first else ""
    if note.note == Note.STARTS_LATER:
        return f"Starts {when}, in {days(note.count)}."
    if note.note == Note.STARTS_TODAY:
        return f"Starts today, {when}."
    if note.note == Note.RUNNING:
        return f"Started {when}; today is its day {note.count}."
    listed = " and ".join(short_day(one) for one in note.days)
    return {
        Note.SHORT: f"{days(note.count)} short: fewer days are left than the stages ask for.",
        Note.LONGER: (
            f"The date moved while the diet ran. Counted from {when}, it comes to "
            f"{days(note.count)} before the operation, more than the stages ask for. "
            "The surgical team decides."
        ),
        Note.MEALS_NOT_CHOSEN: f"{note.count} of the solid meals not chosen yet.",
        Note.TOO_MANY_MEALS: f"{note.count} more solid meals chosen than there are.",
        Note.MEALS_TOO_CLOSE: (
            f"Solid meals on {listed} are too close: at least {days(note.count)} apart."
        ),
        Note.MEAL_TOO_LATE: (
            f"The solid meal on {listed} is too late and is left out: the last day for one is "
            f"{from_or_date(note.count)}."
        ),
        Note.MEAL_OUTSIDE: f"The solid meal on {listed} is left out: its stage has none.",
        Note.MEAL_BEFORE_START: f"The solid meal on {listed} is before the plan starts.",
        Note.TWO_STAGES: f"In two stages: {listed}.",
        Note.NO_STAGE: f"In no stage: {listed}.",
    }[note.note]


def number(value: Figure | Missing) -> str:
    """Return a number in both units, rounded for reading: 54.7 kg (120.6 lb)."""
    if isinstance(value, Missing):
        return MISSING[value]
    if value.unit == "kg":
        return weight(value.value)
    if value.unit == "mL/day":
        return f"{whole(value.value)} mL ({whole(us_fl_oz(value.value))} US fl oz) a day"
    if value.unit == "kcal/day":
        return f"{whole(value.value)} kcal a day"
    if value.unit == "g/day":
        return f"{value.value.normalize():f} g a day"
    return f"{value.value:.1f} {value.unit}"


def basis(value: Figure | Missing) -> str:
    """Return what a number rests on and who published it."""
    if isinstance(value, Missing):
        return ""
    words = [BASIS[value.basis]]
    if value.source not in (Source.PROGRAMME, Source.STAFF):
        words.append(SOURCE[value.source])
    elif value.factor is not None:
        words.append(f"factor {value.factor.normalize():f}, the programme’s setting")
    return "; ".join([*words, *(CAUTION[one] for one in value.cautions)])


def weight(kg: Decimal) -> str:
    """Return a weight both ways: 120.0 kg (264.6 lb)."""
    return f"{kg:.1f} kg ({pounds(kg):.1f} lb)"


def height(cm: Decimal | None) -> str:
    """Return a height both ways: 165.1 cm (5 ft 5 in)."""
    if cm is None:
        return "not known"
    both = feet_inches(cm)
    return f"{cm:.1f} cm ({both.feet} ft {both.inches.normalize():f} in)"


def label_reason(reason: Reason) -> str:
    """Return why a product fits or does not, in words."""
    way = f" {WAY[reason.way]}" if reason.way else ""
    name, unit = NUTRIENT[reason.nutrient] if reason.nutrient else ("", "")
    found = f"{reason.found.normalize():f} {unit}" if reason.found is not None else ""
    limit = f"{reason.limit.normalize():f} {unit}" if reason.limit is not None else ""
    return {
        Why.TOO_MUCH: f"{found} {name} a serving{way}; the stage allows {limit} at most.",
        Why.TOO_LITTLE: f"{found} {name} a serving{way}; the stage asks for {limit} at least.",
        Why.NOT_PRINTED: f"{name.capitalize()}{way} is not given; the stage limits it ({limit}).",
        Why.NO_SERVING_SIZE: (
            "The label gives 100 g or 100 mL only. How big is a serving? Without that nobody can "
            "tell."
        ),
        Why.MORE_ADDED_THAN_TOTAL: (
            "More added sugars than total sugars: one of the two was read wrongly."
        ),
        Why.NO_PROTEIN: "It has no protein, so it is no protein supplement.",
    }[reason.why]


def span(stage: Stage, offsets: range, or_date: date) -> str:
    """Return a stage's dates for an OR date: 24 February to 8 March, 13 days."""
    if not offsets:
        return "no day"
    first = or_date + timedelta(days=offsets[0])
    last = or_date + timedelta(days=offsets[-1])
    if first == last:
        return f"{first:%a} {day(first)}, 1 day"
    return f"{first:%a} {short_day(first)} to {last:%a} {day(last)}, {days(len(offsets))}"
