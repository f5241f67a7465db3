"""The arithmetic of the CDC Clear Communication Index (standards row EDU-3)."""

import pytest

from education.rules.clear_communication import Answer, index

ALL_YES = dict.fromkeys(range(1, 21), Answer.YES)


# EDU-3. Source: the CDC's index page and score sheet; "90 or higher is passing" (reviewer summary).
@pytest.mark.parametrize(
    ("points", "applicable", "score", "passes"),
    [(18, 20, 90.0, True), (17, 19, 89.47, False), (10, 11, 90.9, True), (20, 20, 100, True)],
)
def test_edu_3(points: int, applicable: int, score: float, passes: bool) -> None:
    """There is no rounding up: 17 of 19 does not pass."""
    answers = ALL_YES | dict.fromkeys(range(applicable + 1, 21), Answer.DOES_NOT_APPLY)
    answers |= dict.fromkeys(range(1, applicable - points + 1), Answer.NO)
    found = index(answers)
    assert (found.points, found.applicable) == (points, applicable)
    assert found.score == pytest.approx(score, abs=0.05)
    assert found.passes is passes
    assert found.missed == tuple(range(1, applicable - points + 1))


def test_items_1_to_11_always_apply_and_none_is_left_open() -> None:
    with pytest.raises(ValueError, match="always applies: 11"):
        index(ALL_YES | {11: Answer.DOES_NOT_APPLY})
    assert index(ALL_YES | {12: Answer.DOES_NOT_APPLY}).applicable == 19
    with pytest.raises(ValueError, match="not answered: 20"):
        index({item: answer for item, answer in ALL_YES.items() if item != 20})
