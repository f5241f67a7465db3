"""Which value does an F distribution stay below with a given probability?

Needed for the interval of a reliability alone, so the two functions stand here instead of a
statistics library of 200 MB. The regularised incomplete beta function is summed as a continued
fraction (Abramowitz and Stegun, Handbook of Mathematical Functions, 26.5.8, by Lentz's method), the
quantile is found by halving.
"""

from math import exp, lgamma, log, log1p

_TERMS = 10_000
_CLOSE = 1e-15
_TINY = 1e-300
_HALVINGS = 200


def regularised_beta(x: float, a: float, b: float) -> float:
    """Return I_x(a, b), the share of a beta distribution below x; 0 <= x <= 1, a and b above 0."""
    if x <= 0 or x >= 1:
        return float(x >= 1)
    # The fraction converges fast on this side of the mean; the other side follows by symmetry.
    if x > (a + 1) / (a + b + 2):
        return 1 - regularised_beta(1 - x, b, a)
    front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log1p(-x))
    return front / a / _fraction(x, a, b)


def f_quantile(probability: float, upper: float, lower: float) -> float:
    """Return the quantile of F with `upper` (numerator) and `lower` degrees of freedom.

    `probability` lies strictly between 0 and 1. An F value is upper/lower odds of a beta value.
    """
    below, above = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = (below + above) / 2
        if regularised_beta(middle, upper / 2, lower / 2) < probability:
            below = middle
        else:
            above = middle
    beta = (below + above) / 2
    return lower * beta / (upper * (1 - beta))


def _fraction(x: float, a: float, b: float) -> float:
    """Return 1 + d1/(1 + d2/(1 + ...)), the denominator of the continued fraction."""
    value, up, down = 1.0, 1.0, 0.0
    for term in range(1, _TERMS):
        m = term // 2
        if term % 2:
            factor = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        else:
            factor = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        down = 1 / (1 + factor * down or _TINY)
        up = 1 + factor / up or _TINY
        value *= up * down
        if abs(up * down - 1) < _CLOSE:
            break
    return value
