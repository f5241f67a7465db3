"""Stages for tests of the eating plan: the two published tables, and one like the default."""

from education.rules.eating_stages import Anchor, Edge, Meals, Stage, Stay

STAY = Stay(nights=1, first_visit_days=14)


def stage(key: str, first: int, last: int, **more: object) -> Stage:
    """Return a stage between two days from the OR date."""
    return between(key, Edge(Anchor.OPERATION, first), Edge(Anchor.OPERATION, last), **more)


def between(key: str, first: Edge, last: Edge, **more: object) -> Stage:
    """Return a stage between two edges."""
    return Stage(key, {"en": key}, first, last, {}, {}, {}, **more)  # type: ignore[arg-type]


HOSPITAL = between("hospital", Edge(Anchor.OPERATION, 1), Edge(Anchor.DISCHARGE, 0))
HOME = between("home", Edge(Anchor.DISCHARGE, 1), Edge(Anchor.FIRST_VISIT, 0))
# The programme's default in short: 14 days up to the operation, the last of them clear liquids.
LIKE_THE_DEFAULT = (
    stage("full", -14, -2, supplements=3, meals=Meals(count=4, apart=2, last_days=-3)),
    stage("clear", -1, -1),
    stage("operation", 0, 0, nothing_by_mouth=True, counts_fluid=False),
    HOSPITAL,
    HOME,
)
# NUT-40, J Metab Bariatr Surg 2016;5:4-10, Table 2, with 2 + 1 + 28 + 28 + 28 days (NUT-43).
NUT_40 = (
    stage("clear", 1, 2),
    stage("full", 3, 3),
    stage("pureed", 4, 31),
    stage("mechanical_soft", 32, 59),
    stage("soft", 60, 87),
    stage("regular", 88, 88),
)
# NUT-41, a surgical handbook's chapter: day 15 is printed in two stages.
NUT_41 = (
    stage("clear", 1, 4),
    stage("full", 5, 15),
    stage("soft", 15, 30),
    stage("solid", 31, 90),
)
