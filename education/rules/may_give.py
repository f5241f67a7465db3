"""May a patient be given the eating plan?

A low-energy plan with insulin or another diabetes medicine can lower the sugar dangerously; so no
plan is given until a clinician has signed that it was discussed. What nobody asked is not a "no".
"""

from dataclasses import dataclass
from enum import StrEnum


class Medicine(StrEnum):
    """What the team has to know of before the plan starts; in the order in which it is asked."""

    DIABETES = "diabetes"
    BLOOD_THINNER = "blood_thinner"
    BLOOD_PRESSURE = "blood_pressure"
    PREGNANCY = "pregnancy"


class Hold(StrEnum):
    """Why no plan is given."""

    NOT_ASKED = "not_asked"
    DIABETES_NOT_DISCUSSED = "diabetes_not_discussed"
    PREGNANCY_NOT_DISCUSSED = "pregnancy_not_discussed"
    STAGES_NOT_READY = "stages_not_ready"  # the programme has no stages, or they do not fit


@dataclass(frozen=True)
class Answers:
    """What the patient answered; None is not asked yet. `discussed`: a clinician signed for it."""

    said: dict[Medicine, bool | None]
    discussed: bool = False


# A clinician has to sign before the plan is given; of the others the team is told.
SIGNED_FOR = {
    Medicine.DIABETES: Hold.DIABETES_NOT_DISCUSSED,
    Medicine.PREGNANCY: Hold.PREGNANCY_NOT_DISCUSSED,
}


def holds(answers: Answers, *, stages_ready: bool) -> tuple[Hold, ...]:
    """Return why the plan must not be given; none: it may."""
    found = []
    if any(answers.said.get(medicine) is None for medicine in Medicine):
        found.append(Hold.NOT_ASKED)
    if not answers.discussed:
        found += [hold for medicine, hold in SIGNED_FOR.items() if answers.said.get(medicine)]
    if not stages_ready:
        found.append(Hold.STAGES_NOT_READY)
    return tuple(found)


def to_tell_the_team(answers: Answers) -> tuple[Medicine, ...]:
    """Return what the patient said yes to: the team knows of it before the plan starts."""
    return tuple(medicine for medicine in Medicine if answers.said.get(medicine))
