"""A lamp: its resistance follows the temperature of its filament, so it draws many times its hot current when it is cold."""

_COLD = 0.11
"""Room temperature over running temperature of a filament (300 K over 2700 K; common practice, no published source)."""
_COLD_POWER = _COLD**4
_RESISTANCE_POWER = 1.2
"""Tungsten: resistance goes about with temperature to the 1.2 (common practice, no published source)."""
NOMINAL_VOLTS = 14.0


class Lamp:
    """A group of like lamps.

    Attributes:
        temperature: 1 at nominal volts.
        siemens: Conductance now.
    """

    __slots__ = ("_hot_siemens", "_tau_s", "siemens", "temperature")

    def __init__(self, amps: float, tau_s: float) -> None:
        self._hot_siemens = amps / NOMINAL_VOLTS
        self._tau_s = tau_s
        self.temperature = 0.95
        self.siemens = 0.0
        self.step(NOMINAL_VOLTS, 0.0)

    def step(self, volts_rms: float, dt_s: float) -> None:
        """Move on by dt_s: heat in goes with volts squared over resistance, heat out with temperature to the fourth."""
        if self._hot_siemens <= 0:
            return
        square = (volts_rms / NOMINAL_VOLTS) ** 2
        temperature = self.temperature
        rate = dt_s / self._tau_s
        change = rate * (square * temperature**-_RESISTANCE_POWER - temperature**4 + _COLD_POWER)
        if -0.02 < change < 0.02:
            temperature += change
        else:
            for _ in range(4):
                change = rate / 4 * (square * temperature**-_RESISTANCE_POWER - temperature**4 + _COLD_POWER)
                temperature = min(max(temperature + max(min(change, 0.2), -0.2), _COLD), 1.6)
        self.temperature = temperature
        self.siemens = self._hot_siemens * temperature**-_RESISTANCE_POWER
