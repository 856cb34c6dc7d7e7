"""Rates: did events become rarer after something was done? Counts over two spans of time, compared exactly."""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class RateChange:
    """How often events came before and after a moment.

    Attributes:
        before: How many before.
        before_s: Over how long.
        after: How many since.
        after_s: Over how long.
        p_value: Chance of a split at least as uneven if nothing had changed.
    """

    before: int
    before_s: float
    after: int
    after_s: float
    p_value: float

    @property
    def before_per_hour(self) -> float:
        """Rate before."""
        return 3600 * self.before / self.before_s

    @property
    def after_per_hour(self) -> float:
        """Rate since."""
        return 3600 * self.after / self.after_s


def compare_rates(before: int, before_s: float, after: int, after_s: float) -> RateChange:
    """Compare two counts over known times, as Poisson rates.

    Given their sum, each event falls after the moment with the probability of that time's share (the exact conditional test of
    Przyborowski and Wilenski, two-sided by adding up what is no likelier than what was seen).

    Raises:
        ValueError: A time is not positive.
    """
    if not (before_s > 0 and after_s > 0):
        raise ValueError("rates need time to be counted over: both spans must be longer than nothing")
    n, share = before + after, after_s / (before_s + after_s)
    chances = [math.comb(n, k) * share**k * (1 - share) ** (n - k) for k in range(n + 1)]
    seen = chances[after]
    p_value = min(1.0, math.fsum(chance for chance in chances if chance <= seen * (1 + 1e-7)))
    return RateChange(before=before, before_s=before_s, after=after, after_s=after_s, p_value=p_value)
