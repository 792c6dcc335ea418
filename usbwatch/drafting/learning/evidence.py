"""The arithmetic of counting: intervals, and how well a supposition explains what was counted.

A supposition about a share is a Beta distribution; how well it explains *yes*
and *no* cases in a certain order is the beta-binomial marginal likelihood
(Gelman et al., Bayesian Data Analysis, 3rd ed., section 2.4, without the
binomial coefficient, which all suppositions share).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import exp, inf, lgamma, log, sqrt

from usbwatch.drafting.learning.assumptions import Beta

__all__ = ["UNIFORM", "any_shares", "chances", "explains", "together", "wilson"]

UNIFORM = Beta(yes=1, no=1)
_Z = 1.959963984540054
"""The 0.975 quantile of the standard normal distribution."""


def wilson(yes: int, of: int) -> tuple[float, float]:
    """Ends of the 95 % score interval of a share (E. B. Wilson 1927, JASA 22:209-212); 0 and 1 of nothing.

    >>> [round(end, 4) for end in wilson(81, 263)]
    [0.2553, 0.3662]
    """
    if of == 0:
        return 0.0, 1.0
    share, spread = yes / of, _Z * _Z / of
    middle = share + spread / 2
    half = _Z * sqrt(share * (1 - share) / of + spread / (4 * of))
    low, high = (middle - half) / (1 + spread), (middle + half) / (1 + spread)
    return (0.0 if yes == 0 else low), (1.0 if yes == of else high)


def any_shares(counts: Sequence[int]) -> float:
    """Natural logarithm of the probability of choices among several, in one order, when all shares are equally likely.

    The same with a Dirichlet distribution (Gelman et al., section 3.4).
    """
    size = len(counts)
    return lgamma(size) - lgamma(size + sum(counts)) + sum(lgamma(count + 1) for count in counts)


def explains(yes: int, no: int, supposed: Beta) -> float:
    """Natural logarithm of the probability of *yes* and *no* cases, in one order, under a belief about the share."""
    return _log_beta(supposed.yes + yes, supposed.no + no) - _log_beta(supposed.yes, supposed.no)


def _log_beta(one: float, other: float) -> float:
    return lgamma(one) + lgamma(other) - lgamma(one + other)


def together(logs: Iterable[float]) -> float:
    """Logarithm of the sum of probabilities that are given as logarithms; minus infinity of none."""
    held = list(logs)
    top = max(held, default=-inf)
    return top if top == -inf else top + log(sum(exp(one - top) for one in held))


def chances(logs: dict[str, float]) -> dict[str, float]:
    """The probabilities of suppositions of which one is true, from their logarithms."""
    whole = together(logs.values())
    return {name: exp(one - whole) for name, one in logs.items()}
