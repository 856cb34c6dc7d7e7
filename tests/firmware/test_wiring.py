"""The notes for board makers: their arithmetic against a circuit simulator, their picture and examples against the code."""

import math
import re

import pytest

from monitor.values import LineReadings
from monitor.wire import WireDecoder
from tests.firmware import bench, packets, toolchain

pytestmark = pytest.mark.avr

# The two circuits of wiring.md, component by component.
CIRCUIT = """volts tap and amps filter
Vsupply plus 0 5
Vhot hot 0 dc 0 ac 1
Rtop1 hot middle 47k
Rtop2 middle voltspin 47k
Rside1 plus voltspin 12k
Rside2 voltspin 0 12k
Cvolts voltspin 0 10n
Vsensor sensor 0 dc 0 ac 1
Ramps sensor ampspin 5.6k
Camps ampspin 0 10n
.control
set numdgt=9
dc Vhot -30 30 30
print v(voltspin)
print i(Vhot)
ac lin 1 60 60
print ph(v(voltspin)) ph(v(ampspin))
quit 0
.endc
.end
"""


def solved(circuit, folder):
    """ngspice's answer: pin volts and tap amps by volts at the hot terminal, phase in radians of both pins at 60 Hz."""
    netlist = folder / "tap.cir"
    netlist.write_text(circuit, encoding="ascii")
    printed = toolchain.run("ngspice", "-b", netlist)
    rows = re.findall(r"^[012]\t([-+.\de]+)\t([-+.\de]+)", printed, re.MULTILINE)
    phases = re.search(r"ph\(v\(voltspin\)\) = ([-+.\de]+).*ph\(v\(ampspin\)\) = ([-+.\de]+)", printed, re.DOTALL)
    assert phases, printed
    volts = {float(at): float(value) for at, value in rows[:3]}
    amps = {float(at): float(value) for at, value in rows[3:6]}
    return volts, amps, [float(phase) for phase in phases.groups()]


@pytest.fixture(scope="module")
def circuit(tmp_path_factory):
    return solved(CIRCUIT, tmp_path_factory.mktemp("spice"))


def test_divider_figures_are_those_of_the_simulated_circuit(circuit):
    volts = circuit[0]
    assert volts[0.0] * 1000 == pytest.approx(bench.DIVIDER_BIAS_MV, abs=0.01)
    assert (volts[30.0] - volts[-30.0]) / 60 == pytest.approx(bench.DIVIDER_GAIN, rel=1e-6)


def test_the_figures_of_a_3v3_board_are_those_of_the_simulated_circuit(tmp_path):
    other = CIRCUIT.replace("plus 0 5", "plus 0 3.3").replace("12k", "6.8k").replace("10n", "18n").replace("5.6k", "3.3k")
    volts, amps, phases = solved(other.replace("-30 30 30", "-42.9 42.9 42.9"), tmp_path)
    assert volts[0.0] * 1000 == pytest.approx(bench.SMALL_DIVIDER_BIAS_MV, abs=0.01)
    assert (volts[42.9] - volts[-42.9]) / 85.8 == pytest.approx(bench.SMALL_DIVIDER_GAIN, rel=1e-6)
    # The pin of a 24 V plate at its highest stays within what the chip stands; the 5 V divider would not.
    assert volts[-42.9] > 0
    assert round(volts[42.9], 2) == 3.09
    assert max(map(abs, amps.values())) < 1e-3
    assert phases[0] == pytest.approx(phases[1], abs=math.radians(0.02))
    wire = bench.record(toolchain.rp2040_image(), seconds=0.1).wire
    for quantity, _, scale, zero in packets.identity(packets.opened(wire).of(packets.IDENTITY)[0])[2]:
        if quantity == "V":
            for at, pin_volts in volts.items():
                assert (pin_volts / 3.3 * 4096 - zero) * scale == pytest.approx(at, abs=0.001)
        else:
            assert (scale, zero) == pytest.approx((3.3 / 4096 / 0.066, 2048.0), abs=1e-6)


def test_the_boards_scale_and_zero_turn_the_simulated_pin_back_into_volts(circuit):
    wire = bench.record(toolchain.packed_elf(), seconds=0.1).wire
    _, _, channels, _ = packets.identity(packets.opened(wire).of(packets.IDENTITY)[0])
    for quantity, _, scale, zero in channels:
        if quantity == "V":
            for at, pin_volts in circuit[0].items():
                assert (pin_volts / 5 * 1024 - zero) * scale == pytest.approx(at, abs=0.001)
        else:
            assert (scale, zero) == pytest.approx((5 / 1024 / 0.1, 512.0), abs=1e-6)


def test_the_tap_carries_no_more_than_the_notes_say(circuit):
    assert max(abs(value) for value in circuit[1].values()) < 0.4e-3


def test_volts_and_amps_are_late_by_the_same_angle(circuit):
    late_degrees = [-math.degrees(phase) for phase in circuit[2]]
    assert late_degrees == pytest.approx([1.2, 1.2], abs=0.05)
    assert late_degrees[0] == pytest.approx(late_degrees[1], abs=0.02)


def test_the_picture_is_what_the_script_draws():
    script = toolchain.script(toolchain.NOTES / "draw_wiring.py")
    stored = (toolchain.NOTES / "wiring.svg").read_text(encoding="utf-8")
    assert script.draw() == stored, "run: python firmware_notes/draw_wiring.py"
    for value in ("47 kΩ", "12 kΩ", "MAINS SIDE", "fuse 100 mA"):
        assert value in stored


def test_the_picture_of_two_supplies_is_what_the_script_draws():
    script = toolchain.script(toolchain.NOTES / "draw_wiring.py")
    stored = (toolchain.NOTES / "two_supplies.svg").read_text(encoding="utf-8")
    assert script.draw_two_supplies() == stored, "run: python firmware_notes/draw_wiring.py"
    assert stored.count("USB isolator") == 2


def test_reach_and_isolated_input_of_the_notes_add_up():
    # A sine's peak is sqrt(2) of its RMS (textbook); mains 10 % high and 15 % without load are the notes' own assumption.
    notes = (toolchain.NOTES / "wiring.md").read_text(encoding="utf-8")
    peak = math.sqrt(2) * 1.10 * 1.15
    assert f"{24 * peak:.1f} V: cut off below" in notes
    assert 21 * peak < bench.DIVIDER_BIAS_MV / 1000 / bench.DIVIDER_GAIN < 24 * peak
    taller = 6 / (112 + 6)
    assert f"gain {taller:.4f}, reach -{2.5 * (1 - taller) / taller:.1f} to +{(5 - 2.5 * (1 - taller)) / taller:.1f} V" in notes
    divider = 2.2 / 96.2
    assert f"| {divider:.5f} |" in notes
    assert f"| {1 / divider:.1f} V either way" in notes
    assert 24 * peak < 1 / divider
    assert f"| {math.degrees(math.atan(60 / 10000)):.2f} degrees at 60 Hz |" in notes


def test_the_example_line_of_the_notes_is_a_reading():
    notes = (toolchain.NOTES / "wire.md").read_text(encoding="utf-8")
    line = re.search(r"Example: `(r,[^`]+)`", notes)[1]
    (reading,) = WireDecoder().feed(f"{line}\n".encode("ascii"))
    assert isinstance(reading, LineReadings)
    assert (reading.volts_rms[0], reading.amps_rms[0], reading.watts[0]) == (15.25, 3.53, 47.72)


def test_the_notes_state_the_rate_that_the_board_sends():
    notes = (toolchain.NOTES / "wire.md").read_text(encoding="utf-8")
    stated_kb = float(re.search(r"identity and health (\d+\.\d)\.", notes)[1])
    report = bench.record(toolchain.packed_elf(), seconds=10).report
    assert report.bytes / report.seconds / 1000 == pytest.approx(stated_kb, abs=0.1)
