"""When the plan may be given: a medicine that was not asked about is not a "no"."""

import pytest

from education.rules.may_give import Answers, Hold, Medicine, holds, to_tell_the_team

NO = dict.fromkeys(Medicine, False)
ROWS: list[tuple[dict[Medicine, bool | None], bool, tuple[Hold, ...], str]] = [
    ({**NO}, False, (), "asked everything, takes nothing"),
    ({}, False, (Hold.NOT_ASKED,), "nobody asked"),
    ({**NO, Medicine.BLOOD_THINNER: None}, True, (Hold.NOT_ASKED,), "one was not asked"),
    ({**NO, Medicine.DIABETES: True}, False, (Hold.DIABETES_NOT_DISCUSSED,), "MED-3: not signed"),
    ({**NO, Medicine.DIABETES: True}, True, (), "a clinician signed"),
    ({**NO, Medicine.PREGNANCY: True}, False, (Hold.PREGNANCY_NOT_DISCUSSED,), "MED-8"),
    ({**NO, Medicine.BLOOD_THINNER: True}, False, (), "the team is told; it needs no signature"),
]


@pytest.mark.parametrize("said, discussed, expected, why", ROWS)
def test_holds(
    said: dict[Medicine, bool | None], discussed: bool, expected: tuple[Hold, ...], why: str
) -> None:
    assert holds(Answers(said, discussed), stages_ready=True) == expected, why


def test_stages_that_do_not_fit_hold_everybody() -> None:
    assert holds(Answers({**NO}), stages_ready=False) == (Hold.STAGES_NOT_READY,)


def test_the_team_is_told_of_each() -> None:
    said: dict[Medicine, bool | None] = {**NO, Medicine.BLOOD_PRESSURE: True}
    assert to_tell_the_team(Answers(said)) == (Medicine.BLOOD_PRESSURE,)
