"""What an attempt asks follows from the attempt alone, and a retake asks another version."""

import pytest

from education.rules.drawing import Draw, shuffled, shuffled_apart, version_drawn

ITEMS = ["sit", "sip", "wait"]


def apart(draw: Draw) -> list[str]:
    return shuffled_apart(ITEMS, draw=draw, question="first", name=str)


def test_a_draw_is_the_same_whenever_it_is_asked() -> None:
    """The values stand here so that another machine, or another Python, must find the same."""
    draw = Draw("12", 0)
    assert [version_drawn(draw, key, 3) for key in ("gulp", "fast", "hours")] == [2, 0, 0]
    assert shuffled(ITEMS, draw=draw, question="first", name=str) == ["sit", "wait", "sip"]
    assert shuffled(reversed(ITEMS), draw=draw, question="first", name=str) == [
        "sit",
        "wait",
        "sip",
    ]


@pytest.mark.parametrize("versions", [1, 2, 3, 5])
def test_every_version_is_asked_before_one_comes_back(versions: int) -> None:
    asked = [version_drawn(Draw("7", turn), "gulp", versions) for turn in range(2 * versions)]
    assert sorted(asked[:versions]) == list(range(versions))
    assert asked[versions:] == asked[:versions]


def test_patients_get_different_versions_in_equal_shares() -> None:
    """1,000 draws of two: within 5 standard deviations of the binomial (79) of 500 each."""
    first = sum(version_drawn(Draw(str(n), 0), "gulp", 2) for n in range(1000))
    assert abs(first - 500) <= 79


def test_an_order_is_never_shown_solved_and_otherwise_each_is_as_likely() -> None:
    """3 items have 6 orders, of which one is the answer; it turns into its neighbour."""
    shown = [tuple(apart(Draw(str(n), 0))) for n in range(600)]
    assert tuple(ITEMS) not in shown
    assert len(set(shown)) == 5


def test_a_retake_shows_another_order() -> None:
    assert len({tuple(apart(Draw("7", turn))) for turn in range(6)}) > 1
