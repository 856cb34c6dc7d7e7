"""The Fernhollow show layout, as text, and pieces to make others of, for tests."""


def head_text(hertz=60, *, boards=("bench-1",)):
    """Title, mains and boards."""
    text = f'title = "Fernhollow show layout"\n[mains]\nvolts = 120\nhertz = {hertz}\n'
    return text + "".join(f'[[board]]\nname = "{board}"\n' for board in boards)


def supply_text(name, volts=18, va=180, current="ac", more=""):
    return f'[[supply]]\nname = "{name}"\ncurrent = "{current}"\nrated_va = {va}\nmax_volts = {volts}\n{more}'


def output_text(name, of, control="variable"):
    return f'[[output]]\nsupply = "{of}"\nname = "{name}"\ncontrol = "{control}"\n'


def district_text(at, name, of, on="A", *, use="track", board="bench-1"):
    """A district on the board's channels of that place."""
    return (
        f'[[district]]\nname = "{name}"\nsupply = "{of}"\noutput = "{on}"\nboard = "{board}"\n'
        f'volts_channel = {2 * at}\namps_channel = {2 * at + 1}\nuse = "{use}"\n'
    )


FERNHOLLOW = """\
title = "Fernhollow show layout"

[mains]
volts = 120
hertz = 60

[[board]]
name = "bench-1"
number = 0
isolated_inputs = true
port = "/dev/ttyUSB0"
baud = 500000

[[supply]]
name = "North bench"
current = "ac"
rated_va = 180
rating_is = "output"
max_volts = 18
input_volts = [110, 120]
input_hertz = [60]

[supply.protection]
kind = "thermal"
rated_amps = 10
points = [[1.35, 1800], [2.0, 40], [3.0, 12], [6.0, 2.0]]
reset = "auto"

[supply.condition]
cord = "sound"
breaker_present = true
safety_listed = true
earthed = false
made_year = 1998
enclosed = true
plug = "sound"
strain_relief = true

[[supply]]
name = "South bench"
current = "ac"
rated_watts = 75
max_volts = 16

[[output]]
supply = "North bench"
name = "A"
control = "variable"
max_amps = 10

[[output]]
supply = "South bench"
name = "B"
control = "constant"

[[district]]
name = "Outer main"
supply = "North bench"
output = "A"
board = "bench-1"
volts_channel = 0
amps_channel = 1
far_volts_channel = 4
use = "track"
lap_s = 21.0
feeder = { awg = 16, one_way_m = 7.5 }

[[district]]
name = "Town lights"
supply = "South bench"
output = "B"
board = "bench-1"
volts_channel = 2
amps_channel = 3
use = "accessories"

[[load]]
name = "Heavy freight engine"
district = "Outer main"
kind = "locomotive"
running_amps = 2.4
starting_amps = 4.5

[calibration."bench-1".0]
gain = 1.004
zero = -0.3
"""

_SOUTH = 'name = "South bench"\ncurrent = "ac"\nrated_watts = 75\nmax_volts = 16\n'
BOTH_FIT = FERNHOLLOW.replace(
    _SOUTH,
    _SOUTH
    + """input_volts = [120]
input_hertz = [60]

[supply.protection]
kind = "thermal"
rated_amps = 5

[supply.condition]
cord = "sound"
breaker_present = true
safety_listed = true
made_year = 2010
enclosed = true
plug = "sound"
strain_relief = true
""",
)
"""The same with South bench checked, too."""
