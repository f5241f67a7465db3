"""How good a linkage is: F1 over pairs, and where the right one stood in the ranking."""

from collections.abc import Hashable, Iterable, Mapping, Sequence, Set
from dataclasses import dataclass
from typing import NamedTuple

Pair = tuple[str, str]  # two record ids, the smaller first


class Pairs(NamedTuple):
    """Of the pairs that were predicted and of those that are true, the shares that agree."""

    precision: float
    recall: float
    f1: float
    threshold: float


def at_threshold(weights: Mapping[Pair, float], true: Set[Pair], threshold: float) -> Pairs:
    """Score the pairs of this weight and more."""
    predicted = {two for two, weight in weights.items() if weight >= threshold}
    return _score(len(predicted & true), len(predicted), len(true), threshold)


def best(weights: Mapping[Pair, float], true: Set[Pair]) -> Pairs:
    """Score the pairs at the threshold that gives the best F1, which nobody knows beforehand."""
    top = Pairs(0.0, 0.0, 0.0, float("inf"))
    right = 0
    ordered = sorted(weights.items(), key=lambda item: -item[1])
    for predicted, (two, weight) in enumerate(ordered, start=1):
        right += two in true
        if predicted < len(ordered) and ordered[predicted][1] == weight:
            continue  # all pairs of one weight are on one side of a threshold
        score = _score(right, predicted, len(true), weight)
        top = max(top, score, key=lambda pairs: pairs.f1)
    return top


def _score(right: int, predicted: int, true: int, threshold: float) -> Pairs:
    precision = right / predicted if predicted else 0.0
    recall = right / true if true else 0.0
    f1 = 2 * right / (predicted + true) if predicted + true else 0.0
    return Pairs(precision, recall, f1, threshold)


@dataclass
class Ranking:
    """Among the claims that have a true match, how often it came first, and in the first three."""

    claims: int = 0
    first: int = 0
    in_three: int = 0

    def add(self, ranked: Sequence[Hashable], true: Set[Hashable]) -> bool:
        """Count a claim by its candidates, best first; True if a right one came first."""
        is_first = bool(ranked) and ranked[0] in true
        self.claims += 1
        self.first += is_first
        self.in_three += any(one in true for one in ranked[:3])
        return is_first

    def shares(self) -> tuple[float, float]:
        """Return the two shares, 0 to 1."""
        return self.first / max(1, self.claims), self.in_three / max(1, self.claims)


def percentile(times: Iterable[float], percent: float) -> float:
    """Return the value that so many percent of the values do not exceed (nearest rank)."""
    ordered = sorted(times)
    return ordered[max(0, -(-len(ordered) * int(percent * 100) // 10_000) - 1)]
