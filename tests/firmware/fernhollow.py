"""The layout that the emulated board stands on: one supply, four districts, channels as the sketches number them."""

import math

from tests.firmware.bench import amps_wave, volts_wave

DISTRICTS = ("Outer main", "Inner main", "Quarry branch", "Town lights")

# Volts RMS, amps RMS and degrees by which the amps lag: two trains, one at an electronic throttle's half chop, lamps.
WAVES = {
    0: volts_wave(16.0, noise_mv=2),
    1: amps_wave(3.0, phase_degrees=-40, noise_mv=2),
    2: volts_wave(14.0, noise_mv=2),
    3: amps_wave(1.2, phase_degrees=-20, noise_mv=2),
    4: volts_wave(16.0, cut_degrees=90, noise_mv=2),
    5: amps_wave(2.0, cut_degrees=90, noise_mv=2),
    6: volts_wave(12.0, noise_mv=2),
    7: amps_wave(0.4, noise_mv=2),
}
# A sine cut at 90 degrees has 1 / sqrt(2) of the whole sine's RMS.
VOLTS_RMS = (16.0, 14.0, 16.0 / 2**0.5, 12.0)
AMPS_RMS = (3.0, 1.2, 2.0 / 2**0.5, 0.4)
# V I cos(lag); the chopped wave has volts and amps of the same shape.
WATTS = (48.0 * math.cos(math.radians(40)), 16.8 * math.cos(math.radians(20)), 16.0, 4.8)


def layout(port=None):
    """The layout file's text; without a port for offline use."""
    place = f'port = "{port}"\nbaud = 500000\n' if port else ""
    head = f"""title = "Fernhollow show layout"
[mains]
volts = 120
hertz = 60
[[board]]
name = "bench-1"
number = 0
{place}[[supply]]
name = "North bench"
current = "ac"
rated_va = 180
max_volts = 18
[supply.protection]
kind = "thermal"
rated_amps = 10
"""
    return head + "".join(_district(at, name) for at, name in enumerate(DISTRICTS))


def _district(at, name):
    use, control = ("accessories", "constant") if name == "Town lights" else ("track", "variable")
    output = "ABCD"[at]
    return f"""[[output]]
supply = "North bench"
name = "{output}"
control = "{control}"
[[district]]
name = "{name}"
supply = "North bench"
output = "{output}"
board = "bench-1"
volts_channel = {2 * at}
amps_channel = {2 * at + 1}
use = "{use}"
"""
