"""The Rayleigh test: do moments cluster at one phase of a lap?"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Clustering(NamedTuple):
    """What the test found.

    Attributes:
        fraction: Mean phase, 0-1.
        length: Mean resultant length r, 0 (spread evenly) to 1 (all at one phase).
        p_value: Chance of so long a resultant if the phases were spread evenly.
    """

    fraction: float
    length: float
    p_value: float


def rayleigh(fractions: Floats) -> Clustering:
    """Test phases given as fractions of a turn, shape (n,), n at least 1.

    The p-value is Zar's closed form (Biostatistical Analysis, eq. 27.4): unlike the series form it cannot turn negative.
    """
    turn = np.exp(2j * np.pi * fractions).sum()
    n, resultant = len(fractions), float(np.abs(turn))
    p_value = np.exp(np.sqrt(1 + 4 * n + 4 * (n**2 - resultant**2)) - (1 + 2 * n))
    return Clustering(float(np.angle(turn) / (2 * np.pi) % 1.0), resultant / n, float(min(1.0, p_value)))


def resultant_lengths(times_s: Floats, periods_s: Floats) -> Floats:
    """Mean resultant length of the same moments folded at each of the periods, shape (periods,)."""
    return np.asarray(np.abs(np.exp(2j * np.pi * times_s[None, :] / periods_s[:, None]).mean(axis=1)))
