"""An oracle for uncertainties: boards with parts drawn within the tolerances of wiring.md, waveforms whose true figures are known.

Shares no code with the meter. Everything is simulated on a fine grid: the rail's volts and amps, each pin through its own divider or
sensor and its own filter (a one-pole response, exact for steps), the converter at each channel's own moment. True figures are integrals
of the rail's waveforms on that grid. Draws follow JCGM 101 section 6.4: limits without further knowledge are uniform, what is stated as
a standard uncertainty is normal.
"""

from dataclasses import dataclass, field

import numpy as np
from scipy.signal import lfilter

from monitor.layout import parse_layout
from monitor.runtime import Pipeline
from monitor.values import Channel, Chunk, Health, Identity, ResetCause
from monitor.wire.encode import STREAM_START, health_body, identity_body, packet, samples_body
from tests.layout.fernhollow import district_text, head_text, output_text, supply_text

GRID_S = 6e-6
SECONDS, SETTLED_S = 1.5, 0.9
INTERVAL_S = 1 / 1238
DISTRICTS = 4
NOMINAL_VOLTS = 5.0
TOP_OHMS, SIDE_OHMS, FARADS = 47e3, 12e3, 10e-9
VOLTS_PER_COUNT, VOLTS_ZERO = 5 / 1024 / 0.06, 481.28
AMPS_PER_COUNT, AMPS_ZERO = 5 / 1024 / 0.1, 512.0
WAVES = ("sine", "cut", "dc", "filtered pulses", "pulses")
PARTS = ("as bought", "zero only", "gain and zero", "USB", "calibrated, other USB port")


@dataclass(kw_only=True)
class Rail:
    """One output: volts and amps on the grid."""

    volts: np.ndarray
    amps: np.ndarray


@dataclass(kw_only=True)
class Cell:
    """What one cell of the table collects: error over half width, and both by themselves, one row a window."""

    errors: dict = field(default_factory=lambda: {"volts": [], "amps": [], "watts": []})
    halves: dict = field(default_factory=lambda: {"volts": [], "amps": [], "watts": []})
    good: int = 0
    all: int = 0

    def coverage(self, what):
        """Share of errors within their interval."""
        return float(np.mean(np.abs(self.errors[what]) <= np.array(self.halves[what])))

    def excess(self, what):
        """Mean half width over the half width that would cover 95 % of these errors, were it the same for all of a size."""
        errors, halves = np.abs(self.errors[what]), np.array(self.halves[what])
        return float(1 / np.quantile(errors / halves, 0.95))


def mains(rng):
    """Frequency and phase that all supplies of one bench share."""
    return 60 + rng.normal(0, 0.03), rng.uniform(0, 2 * np.pi)


def rail(wave, rng, hertz, phase):
    """Draw one output's waveform: plugged in either way, and turned a little by its transformer."""
    t = np.arange(round(SECONDS / GRID_S)) * GRID_S
    volts, amps = rng.uniform(6, 18), rng.uniform(0.5, 6)
    angle = 2 * np.pi * hertz * t + phase + rng.choice([0, np.pi]) + np.radians(rng.normal(0, 2))
    if wave == "sine":
        lag = np.radians(rng.uniform(0, 50))
        return Rail(volts=np.sqrt(2) * volts * np.sin(angle), amps=np.sqrt(2) * amps * np.sin(angle - lag))
    if wave == "cut":
        v = np.where(angle % np.pi >= np.radians(rng.uniform(30, 140)), np.sqrt(2) * volts * np.sin(angle), 0.0)
        v = one_pole(v, rng.uniform(1e-6, 60e-6))
        return Rail(volts=v, amps=draw(v, volts / amps, rng))
    if wave == "dc":
        v = volts * (1 + rng.uniform(0, 0.05) * np.sin(2 * angle))
        return Rail(volts=v, amps=v * amps / volts)
    pulse = volts * ((t * np.exp(rng.uniform(np.log(60), np.log(25e3))) + rng.uniform()) % 1.0 < rng.uniform(0.15, 0.85))
    if wave == "filtered pulses":
        # The share of each step that is on: steps that a pulse ends in would else beat with it.
        turns, duty = np.append(t, SECONDS) * rng.uniform(12e3, 25e3), rng.uniform(0.15, 0.85)
        on = np.diff(np.floor(turns) * duty + np.minimum(turns % 1.0, duty)) / np.diff(turns)
        v = one_pole(one_pole(volts * on, 1e-3), 0.2e-3)
        return Rail(volts=v, amps=v * amps / volts)
    return Rail(volts=pulse, amps=draw(pulse, volts / amps, rng))


def draw(volts, ohms, rng):
    """Amps of lamps, or of a winding that smooths them."""
    return volts / ohms if rng.uniform() < 0.5 else one_pole(volts / ohms, rng.uniform(0.2e-3, 3e-3))


def one_pole(values, seconds):
    """Response of a one-pole low-pass to what is constant over each grid step."""
    keep = np.exp(-GRID_S / seconds)
    return lfilter([1 - keep], [1, -keep], values, zi=[keep * values[: round(1 / 60 / GRID_S)].mean()])[0]


class Bench:
    """A board with parts drawn at random."""

    def __init__(self, parts, rng):
        self.rng, self.parts = rng, parts
        self.supply = NOMINAL_VOLTS if "USB" not in parts else rng.uniform(4.75, 5.25)
        self.calibrated_at = rng.uniform(4.75, 5.25) if "calibrated" in parts else NOMINAL_VOLTS
        u = rng.uniform
        self.channels = []
        for k in range(2 * DISTRICTS):
            taus = 10e-9 * u(0.9, 1.1) * 5.64e3
            if k % 2 == 0:
                top = TOP_OHMS * (u(0.99, 1.01) + u(0.99, 1.01))
                up, down = SIDE_OHMS * u(0.99, 1.01), SIDE_OHMS * u(0.99, 1.01)
                siemens = 1 / top + 1 / up + 1 / down
                self.channels.append((1 / top / siemens, 1 / up / siemens, 0.0, taus))
            else:
                self.channels.append((0.1 * u(0.985, 1.015), 0.5, u(-0.015, 0.015), taus))

    def pins(self, rails, supply):
        """Counts before noise, on the grid, one row a channel."""
        for k, (gain, share, lift, tau) in enumerate(self.channels):
            wave = rails[k // 2].volts if k % 2 == 0 else rails[k // 2].amps
            yield (one_pole(wave, tau) * gain + share * supply + lift) / supply * 1024

    def counts(self, rails):
        """What the converter gives, shape (scans, channels)."""
        scans = np.arange(round((SECONDS - 0.01) / INTERVAL_S)) * INTERVAL_S
        noise, columns = self.rng.uniform(0.3, 1.0), []
        for k, pin in enumerate(self.pins(rails, self.supply)):
            at = (scans + skew_s(k)) / GRID_S
            columns.append(np.interp(at, np.arange(len(pin)), pin) + self.rng.normal(0, noise, len(scans)))
        return np.clip(np.round(np.stack(columns, axis=1)), 0, 1023).astype(np.int16)

    def calibration(self):
        """What a person with a usual meter would have written into the layout file."""
        if self.parts in ("as bought", "USB"):
            return ""
        text = ""
        for k, (gain, share, lift, _) in enumerate(self.channels):
            nominal, per_count, reading = ((VOLTS_ZERO, VOLTS_PER_COUNT, 14.0), (AMPS_ZERO, AMPS_PER_COUNT, 3.0))[k % 2]
            zero = share * 1024 + lift / self.calibrated_at * 1024 - nominal + self.rng.normal(0, 0.3)
            text += f'[calibration."bench-1".{k}]\nzero = {zero:.3f}\n'
            if self.parts != "zero only":
                # A meter of 0.8 % and two digits, as standard uncertainties.
                shown = reading * (1 + self.rng.normal(0, 0.008)) + self.rng.normal(0, 0.02)
                text += f"gain = {shown / (reading * gain / self.calibrated_at * 1024 * per_count):.6f}\n"
                text += f"supply_volts = {self.calibrated_at:.3f}\n"
        return text


def skew_s(channel):
    """Moment of a channel's conversion within the scan."""
    return 81e-6 + channel * 69e-6


def layout_text(calibration):
    outputs = "".join(output_text(str(k), "S") + district_text(k, f"D{k}", "S", str(k)) for k in range(DISTRICTS))
    return head_text() + supply_text("S", 24, 900) + outputs + calibration


def stream(counts, supply_volts):
    """The board's bytes: identity, health, samples."""
    channels = tuple(
        Channel(
            quantity="VA"[k % 2],
            skew_s=skew_s(k),
            units_per_count=(VOLTS_PER_COUNT, AMPS_PER_COUNT)[k % 2],
            zero_counts=(VOLTS_ZERO, AMPS_ZERO)[k % 2],
        )
        for k in range(2 * DISTRICTS)
    )
    identity = Identity(number=0, name="bench-1", scan_interval_s=round(INTERVAL_S * 1e9) / 1e9, channels=channels)
    causes = frozenset({ResetCause.POWER_ON})
    health = Health(number=0, uptime_s=0.1, supply_volts=supply_volts, scans_dropped=0, reset_causes=causes)
    bodies = [(1, identity_body(identity)), (3, health_body(health))]
    bodies += [(2, samples_body(k, counts[k : k + 10])) for k in range(0, len(counts), 10)]
    return STREAM_START + b"".join(packet(kind, 0, k & 0xFFFF, body) for k, (kind, body) in enumerate(bodies))


def run_cell(wave, parts, boards, seed):
    """One cell of the table."""
    rng = np.random.default_rng([WAVES.index(wave), PARTS.index(parts), seed])
    cell = Cell()
    for _ in range(boards):
        bench = Bench(parts, rng)
        shared = mains(rng)
        rails = [rail(wave, rng, *shared) for _ in range(DISTRICTS)]
        pipeline = Pipeline(parse_layout(layout_text(bench.calibration())))
        data = stream(bench.counts(rails), bench.supply)
        for step in (pipeline.feed("x", Chunk(data=data)), pipeline.finish("x")):
            for block in step.aggregates:
                collect(cell, block, rails)
    return cell


def collect(cell, block, rails):
    """Errors and half widths of the settled windows of one block."""
    for column, each in enumerate(rails):
        true = [np.concatenate([[0], np.cumsum(p)]) for p in (each.volts**2, each.amps**2, each.volts * each.amps)]
        for row in np.flatnonzero(block.start_s >= SETTLED_S):
            ends = np.array([block.start_s[row], block.end_s[row]]) / GRID_S
            square_v, square_a, watts = (np.diff(np.interp(ends, np.arange(len(p)), p))[0] / np.diff(ends)[0] for p in true)
            cell.all += 1
            if not block.good[row, column]:
                continue
            cell.good += 1
            for what, figure, half, truth in (
                ("volts", block.volts_rms, block.volts_u95, np.sqrt(square_v)),
                ("amps", block.amps_rms, block.amps_u95, np.sqrt(square_a)),
                ("watts", block.watts, block.watts_u95, watts),
            ):
                cell.errors[what].append(float(figure[row, column] - truth))
                cell.halves[what].append(float(half[row, column]))
