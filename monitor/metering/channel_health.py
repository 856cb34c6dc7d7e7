"""Sensors that lie: found by what no supply and no train could do."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from monitor.metering import thresholds as th
from monitor.metering.aggregation import Gathered
from monitor.metering.channels import ChannelTable
from monitor.metering.metered import Trouble
from monitor.values import AggregateBlock, FindingKind, WaveformKind
from monitor.values.arrays import Bools, Floats, Ints

CHECKS = {
    FindingKind.CLIPPED: "The converter reached the end of its range: a short does that for a moment; if it stays, fit a sensor or "
    "divider with more range.",
    FindingKind.STUCK: "This channel does not move at all: check its sensor's supply, its wire and its plug.",
    FindingKind.REVERSED: "Power seems to flow backwards: switch off and unplug the supply, then turn the current sensor round, "
    "or swap its two leads.",
    FindingKind.CROSSED: "Volts show where no amps are and amps where no volts are: check that the leads of two districts are not "
    "crossed, against the layout file's channels.",
    FindingKind.NOISY: "This channel jumps about with next to nothing to measure: check its ground, keep its wire away from track wiring, "
    "twist the pair. Do not take it for off before a true RMS meter rated for 100 kilohertz shows nothing: an electronic transformer's full "
    "volts look like this.",
    FindingKind.PULSES: "This output carries a frequency that the board cannot measure: do not rely on its figures, it may carry ten times "
    "the volts shown. Use a true RMS meter rated for that frequency. Where it is a pulsed DC throttle, a low-pass makes its mean readable: "
    "1 microfarad in place of 10 nanofarad at the volts pin and the amps pin of this district.",
    FindingKind.OTHER_MAINS: "The mains here turns at another frequency than the layout file says: correct hertz under mains, 50 or 60.",
    FindingKind.ZERO_DRIFT: "With nothing connected this channel does not read zero: run 'pilotlamp calibrate' for its zero.",
}


@dataclass(frozen=True, slots=True)
class _Rule:
    """How long a state has to last before it is said, and holds afterwards, in aggregates of about 200 ms.

    Quantity is 0 for volts, 1 for amps.
    """

    kind: FindingKind
    quantity: int
    windows: int
    holds: int = 0

    @property
    def spoils(self) -> bool:
        """Whether figures are no longer good; a drifted zero is within the uncertainty shown."""
        return self.kind not in (FindingKind.ZERO_DRIFT, FindingKind.OTHER_MAINS)


_RULES = {
    "clipped volts": _Rule(FindingKind.CLIPPED, 0, 1),
    "clipped amps": _Rule(FindingKind.CLIPPED, 1, 1),
    "stuck volts": _Rule(FindingKind.STUCK, 0, 5),
    "stuck amps": _Rule(FindingKind.STUCK, 1, 5),
    "reversed": _Rule(FindingKind.REVERSED, 1, 10),
    "crossed": _Rule(FindingKind.CROSSED, 0, 10),
    "noisy volts": _Rule(FindingKind.NOISY, 0, 25),
    "noisy amps": _Rule(FindingKind.NOISY, 1, 25),
    # For seconds a frequency may keep step with the scans and look like plain AC or DC.
    "pulses": _Rule(FindingKind.PULSES, 0, 5, holds=25),
    "restless volts": _Rule(FindingKind.NOISY, 0, 10, holds=10),
    "other mains": _Rule(FindingKind.OTHER_MAINS, 0, 10),
    "drift of volts": _Rule(FindingKind.ZERO_DRIFT, 0, 50),
    "drift of amps": _Rule(FindingKind.ZERO_DRIFT, 1, 50),
}


class ChannelHealth:
    """Watches the channels of one board under one identity; results do not depend on how rows are cut into blocks.

    A row is judged by itself and by how long its state has lasted; figures are marked from the moment that a rule's time is up.
    """

    def __init__(self, table: ChannelTable, ac: Bools) -> None:
        self._table = table
        self._ac = ac
        self._channels = (table.volts, table.amps)
        self._units = tuple(np.abs(table.gain_of(channels)) for channels in self._channels)
        self._lasting = {name: np.zeros(len(ac), dtype=np.intp) for name in _RULES}
        self._since = {name: np.full(len(ac), rule.holds + 1, dtype=np.intp) for name, rule in _RULES.items()}
        self._lively = np.zeros((2, len(ac)), dtype=np.intp)

    def feed(self, gathered: Gathered) -> tuple[list[Trouble], Bools, Bools]:
        """Judge aggregates.

        Returns:
            What was found; where figures are good; where a channel is stuck, so that there is no figure at all; shape (n, d).
        """
        block, clipped = gathered.block, gathered.clipped
        states = self._states(gathered)
        good = np.ones(block.volts_rms.shape, dtype=bool)
        stuck = np.zeros(block.volts_rms.shape, dtype=bool)
        troubles: list[Trouble] = []
        for name, state in states.items():
            rule = _RULES[name]
            lasting = _lasted(state, self._lasting[name])
            self._lasting[name] = lasting[-1]
            since = _lasted(lasting < rule.windows, self._since[name])
            self._since[name] = since[-1]
            standing = since <= rule.holds
            if not standing.any():
                continue
            if rule.spoils:
                good &= ~standing
            if rule.kind is FindingKind.STUCK:
                stuck |= standing
            troubles += self._troubles(rule, block, lasting, clipped)
        return troubles, good, stuck

    def _states(self, gathered: Gathered) -> dict[str, Bools]:
        block, spans, clipped = gathered.block, gathered.spans, gathered.clipped
        volts, amps = block.volts_rms / self._units[0], block.amps_rms / self._units[1]
        volts_mean, amps_mean = block.volts_mean / self._units[0], block.amps_mean / self._units[1]
        live_volts, live_amps = volts >= th.CHANNEL_LIVE_COUNTS, amps >= th.CHANNEL_LIVE_COUNTS
        off = volts < th.QUIET_COUNTS
        still = spans == 0
        lively = self._lively[:, None] + np.cumsum(~still, axis=1)
        self._lively = lively[:, -1]
        # A still DC channel is stuck only where it used to show noise and its partner still does.
        was_lively = lively > 25
        partner = ~still[::-1]
        away = np.stack([np.abs(volts_mean), np.abs(amps_mean)]) >= th.AWAY_COUNTS
        stuck = still & away & (self._ac | (was_lively & partner))
        # Volts that stand still at zero while amps of AC flow are a lead that fell off.
        stuck[0] |= still[0] & off & live_amps & self._ac & (spans[1] > th.CHANNEL_LIVE_COUNTS * self._units[1])
        noise_volts = np.sqrt(np.maximum(0.0, volts**2 - volts_mean**2))
        noise_amps = np.sqrt(np.maximum(0.0, amps**2 - amps_mean**2))
        idle = live_volts & (amps < th.QUIET_COUNTS)
        elsewhere = idle.sum(axis=1, keepdims=True) - idle > 0
        return {
            "pulses": gathered.pulses,
            "restless volts": gathered.restless,
            "other mains": gathered.other_mains,
            "clipped volts": clipped[0] > 0,
            "clipped amps": clipped[1] > 0,
            "stuck volts": stuck[0],
            "stuck amps": stuck[1],
            "reversed": live_volts
            & (amps >= th.CHANNEL_LIVE_COUNTS / 2)
            & (block.watts < -0.5 * block.volts_rms * block.amps_rms),
            "crossed": off & live_amps & (amps < np.ptp(self._table.rails) / 4) & elsewhere,
            "noisy volts": (volts < th.CHANNEL_LIVE_COUNTS)
            & (noise_volts > th.NOISY_COUNTS)
            & (amps < th.QUIET_COUNTS)
            & ~(gathered.pulses | _mains(block)),
            "noisy amps": off & (noise_amps > th.NOISY_COUNTS) & ~live_amps,
            "drift of volts": off & (np.abs(volts_mean) > th.DRIFT_COUNTS) & (amps < th.CHANNEL_LIVE_COUNTS),
            "drift of amps": off & (np.abs(amps_mean) > th.DRIFT_COUNTS) & (noise_amps < th.QUIET_COUNTS),
        }

    def _troubles(self, rule: _Rule, block: AggregateBlock, lasting: Ints, clipped: Floats) -> Iterator[Trouble]:
        scans = (block.end_s - block.start_s) / self._table.interval_s
        for column in np.flatnonzero((lasting >= rule.windows).any(axis=0)).tolist():
            for row in np.flatnonzero(lasting[:, column] >= rule.windows).tolist():
                first = lasting[row, column] == rule.windows
                length_s = float(block.end_s[row] - block.start_s[row])
                back_s = (rule.windows - 1) * length_s if first else 0.0
                samples = clipped[rule.quantity, row, column] if rule.kind is FindingKind.CLIPPED else scans[row]
                yield Trouble(
                    kind=rule.kind,
                    channel=None if rule.kind is FindingKind.OTHER_MAINS else int(self._channels[rule.quantity][column]),
                    start_s=float(block.start_s[row]) - back_s,
                    end_s=float(block.end_s[row]),
                    count=round(float(samples) * (rule.windows if first and rule.kind is not FindingKind.CLIPPED else 1)),
                    check=CHECKS[rule.kind],
                )


def implausible_channels(table: ChannelTable, at_s: float, *, can_meter: bool) -> list[Trouble]:
    """What in a board's identity and calibration cannot be."""
    if not can_meter:
        check = (
            f"The board says it scans every {table.interval_s:.3g} s, with which no mains cycle can be measured: correct its sketch. "
            "Nothing of this board is metered."
        )
        return [Trouble(kind=FindingKind.IMPLAUSIBLE, channel=None, start_s=at_s, end_s=None, count=1, check=check)]
    check = (
        "The board gives this channel a scale, zero or skew that cannot be: correct its sketch, or the channel's gain and zero under "
        "calibration in the layout file. Its figures are left out."
    )
    return [
        Trouble(kind=FindingKind.IMPLAUSIBLE, channel=k, start_s=at_s, end_s=None, count=1, check=check)
        for k in table.implausible
    ]


def _lasted(state: Bools, before: Ints) -> Ints:
    """For how many rows each state has lasted, this one included; 0 where it does not hold."""
    count = np.arange(1, len(state) + 1)[:, None]
    broken = np.maximum.accumulate(np.where(state, 0, count), axis=0)
    return np.where(broken > 0, count - broken, count + before)


def _mains(block: AggregateBlock) -> Bools:
    """Where the waveform is that of a supply turned low, not noise: the kinds with a shape of their own."""
    shaped = (WaveformKind.PHASE_CUT, WaveformKind.DC)
    return np.array([[kind in shaped for kind in row] for row in block.waveform], dtype=bool)
