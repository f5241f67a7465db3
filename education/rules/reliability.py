"""Do the questions of a quiz agree with each other, and how sure is that?"""

from collections.abc import Mapping, Sequence

from education.rules.incomplete_beta import f_quantile
from education.rules.item_statistics import CONFIDENCE, Interval


def alpha(item_variances: Sequence[float], total_variance: float) -> float | None:
    """Return Cronbach's alpha; None with fewer than two items, or when all totals are equal.

    Both variances are taken the same way, of the population or of the sample: mixed, the result is
    wrong. Source: L. J. Cronbach, Psychometrika 1951;16:297-334.
    """
    items = len(item_variances)
    if items < 2 or total_variance <= 0:
        return None
    return items / (items - 1) * (1 - sum(item_variances) / total_variance)


def kr20(difficulties: Sequence[float], totals: Mapping[int, int]) -> float | None:
    """Return KR-20, which is alpha for answers that are right or wrong; None as there.

    `difficulties` are the shares right, `totals` how many patients had so many right. Source:
    G. F. Kuder and M. W. Richardson, Psychometrika 1937;2:151-160, formula 20, with the variance of
    the population.
    """
    n = sum(totals.values())
    if not n:
        return None
    summed = sum(total * count for total, count in totals.items())
    squares = sum(total * total * count for total, count in totals.items())
    return alpha([p * (1 - p) for p in difficulties], (n * squares - summed**2) / n**2)


def feldt(reliability: float, *, people: int, items: int) -> Interval | None:
    """Return the interval of a KR-20 or alpha; None with fewer than two people or items.

    Source: L. S. Feldt, Psychometrika 1965;30:357-370. It takes scores for normal, so it is rough
    where nearly everybody has everything right. Its lower end may lie below 0.
    """
    if people < 2 or items < 2:
        return None
    between, within = people - 1, (people - 1) * (items - 1)
    tail = (1 - CONFIDENCE) / 2
    return Interval(
        1 - (1 - reliability) * f_quantile(1 - tail, between, within),
        1 - (1 - reliability) * f_quantile(tail, between, within),
    )


def lengthened(reliability: float, times: float) -> float:
    """Return what the reliability would be with `times` as many questions of the same sort.

    Source: Spearman and Brown, Br J Psychol 1910;3:271-295 and 296-322.
    """
    return times * reliability / (1 + (times - 1) * reliability)
