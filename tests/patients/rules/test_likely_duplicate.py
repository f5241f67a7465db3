"""When is a pair of records shown?  The engine's weights, as they come about on registers."""

import pytest

from patients.rules.likely_duplicate import worth_a_look

# Weight by the identity rule, people on the register, shown, what it is. The weights are the sums
# of the engine's bits (patients/rules/evidence.py), less the register's chance; by hand.
ROWS = [
    (14.2 + 9.6 + 9.6 - 6, 64, True, "all equal, on a small register"),
    (14.2 + 9.6 - 4 - 6, 64, True, "another family name, as after a marriage"),
    (14.2 - 3.6 - 4 - 6, 64, False, "nothing but the date of birth equal, on a small register"),
    (9.6 + 9.6 - 4.3 - 6, 64, False, "namesakes of another date of birth"),
    (14.2 + 16 + 16 - 16.6, 100_000, True, "all equal, a rare name"),
    (14.2 - 3.6 - 4 - 16.6, 100_000, False, "nothing but the date of birth, on a large one"),
    (5.9, 100_000, False, "more likely two than one"),
    (6.0, 100_000, True, "as likely one as two"),
    (-3.0, 0, False, "nobody on the register"),
]


@pytest.mark.parametrize("weight, people, shown, what", ROWS)
def test_which_pairs_are_shown(weight: float, people: int, shown: bool, what: str) -> None:
    assert worth_a_look(weight, people=people) is shown, what
