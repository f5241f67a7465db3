"""Are two records so alike that a person should look at them as one?

The engine's weight answers for a claim, which surely is somebody's. A record need not have a
second one, so the same likeness says less: the odds are lowered by how few records have one.
"""

from math import log2

from patients.rules.evidence import FEW

# One record in so many has a second one. Common practice: registers of hospitals are said to hold
# a few duplicates in a hundred records (from memory), a programme's own fewer.
ONE_IN = 64


def worth_a_look(weight: float, *, people: int) -> bool:
    """Say whether a pair is more likely one person than two.

    `weight`: bits as the identity rule gives them, against one chance among `people`. A small
    register says as little about chance as about how rare a name is: it counts as FEW people.
    """
    against = log2(max(people, FEW)) - log2(max(people, 1))
    return weight - against >= log2(ONE_IN)
