"""The layout that the emulated board stands on: one supply, four districts, channels as the sketches number them."""

import math

from tests.firmware.bench import amps_wave, volts_wave
from tests.layout.fernhollow import district_text, head_text, output_text, supply_text

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
    text = head_text() + "number = 0\n" + (f'port = "{port}"\nbaud = 500000\n' if port else "")
    text += supply_text("North bench", more='[supply.protection]\nkind = "thermal"\nrated_amps = 10\n')
    for at, name in enumerate(DISTRICTS):
        lights = name == "Town lights"
        text += output_text("ABCD"[at], "North bench", "constant" if lights else "variable")
        text += district_text(at, name, "North bench", "ABCD"[at], use="accessories" if lights else "track")
    return text
