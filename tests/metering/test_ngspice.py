"""Transients of a circuit simulator through the converter: a transformer with source impedance, a triac, a motor as load."""

import re
import subprocess

import numpy as np
import pytest

from tests.metering.converter import FULL_AMPS, FULL_VOLTS, joined, layout_of, metered

SECONDS = 1.6

# 18.9 V open circuit behind 0.45 ohm and 0.3 mH; the triac is a switch fired 60 degrees after each zero, the motor 2 ohm and 4 mH.
PLAIN = """transformer, source impedance, motor
vs s 0 sin(0 {peak} 60)
rs s a 0.45
ls a t 0.3m
rm t m 2
lm m 0 4m
.tran 20u {stop} 0 20u
"""
TRIAC = """transformer, triac, lamps
vs s 0 sin(0 {peak} 60)
rs s a 0.45
vc c 0 pulse(0 1 2.7777m 1u 1u 5.5555m 8.33333m)
s1 a t c 0 sw
.model sw sw(vt=0.5 vh=0.1 ron=1m roff=1meg)
rl t 0 4
.tran 20u {stop} 0 20u
"""
# The same behind the filters of wiring.md, 5.64 kohm and 10 nF at the volts pin and at that of a sensor of 1 V an ampere; the triac
# feeds lamps, half of each half cycle.
FILTERED = """transformer, triac, lamps, the board's filters
vs s 0 sin(0 {peak} 60)
rs s a 0.45
vc c 0 pulse(0 1 4.1667m 1u 1u 4.1666m 8.33333m)
s1 a t c 0 sw
.model sw sw(vt=0.5 vh=0.1 ron=1m roff=1meg)
rl t 0 4
rf t vpin 5640
cf vpin 0 10n
bs sensor 0 v=-i(vs)
ri sensor apin 5640
ci apin 0 10n
.tran 10u {stop} 0 10u
"""
CONTROL = """.control
run
let amps = -i(vs)
linearize v(t) amps {pins}
set wr_singlescale
wrdata {out} {shown}
meas tran vrms RMS v(t) from=1.1 to=1.5
meas tran arms RMS amps from=1.1 to=1.5
let watts = v(t)*amps
meas tran pavg AVG watts from=1.1 to=1.5
quit
.endc
.end
"""


def simulated(folder, circuit, pins=""):
    """Times, volts, amps and the simulator's own figures."""
    out = folder / "wave"
    text = (circuit + CONTROL).format(peak=18.9 * np.sqrt(2), stop=SECONDS, out=out, pins=pins, shown=pins or "v(t) amps")
    (folder / "circuit.cir").write_text(text)
    done = subprocess.run(["ngspice", "-b", "circuit.cir"], cwd=folder, capture_output=True, text=True, check=False, timeout=60)
    figures = dict(re.findall(r"^(vrms|arms|pavg)\s*=\s*(\S+)", done.stdout, re.MULTILINE))
    table = np.loadtxt(f"{out}.data" if not out.exists() else out)
    return table[:, 0], table[:, 1], table[:, 2], [float(figures[name]) for name in ("vrms", "arms", "pavg")]


@pytest.mark.parametrize(
    ("circuit", "pins", "filter_us"),
    [(PLAIN, "", 0.0), (TRIAC, "", 0.0), (FILTERED, "v(vpin) v(apin)", 56.4)],
    ids=["motor", "triac", "filtered"],
)
def test_figures_of_a_simulated_supply(tmp_path, circuit, pins, filter_us):
    times, volts, amps, wanted = simulated(tmp_path, circuit, pins)
    waves = [lambda t: np.interp(t, times, volts), lambda t: np.interp(t, times, amps)]
    made = metered(waves, 1.55, layout=layout_of(filter_us=filter_us))
    late = (joined(made.readings, "start_s") > 1.1) & (joined(made.readings, "end_s") < 1.5)
    assert late.sum() > 40
    for name, want, limit in zip(
        ("volts_rms", "amps_rms", "watts"),
        wanted,
        (0.005 * FULL_VOLTS, 0.005 * FULL_AMPS, 0.015 * FULL_VOLTS * FULL_AMPS),
        strict=True,
    ):
        assert np.abs(joined(made.readings, name)[late, 0] - want).max() < limit, name
