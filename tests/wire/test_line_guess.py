import tomllib

import msgspec
import pytest

from monitor.layout import Board, LineMapping, LineOutput
from monitor.layout.edit import mapping_text
from monitor.values import LineReadings
from monitor.wire import LineDecoder
from monitor.wire.line_guess import guess_mapping
from monitor.wire.mapped_lines import MappedLines


def texts(template, comma=False):
    made = [
        template.format(v=12 + k / 10, a=1.5 + k / 100, t=200 * k, mv=12000 + 100 * (k % 3), ma=1500 + 10 * (k % 2))
        for k in range(8)
    ]
    return [line.replace(".", ",") for line in made] if comma else made


# What is printed; the form; the time's place; volts and amps of each output; whether doubts are told.
GUESSES = [
    ("{v:.1f},{a:.2f}", "values", None, [(1, 2)], True),
    ("{a:.2f} {v:.1f}", "values", None, [(2, 1)], True),
    ("{t},{v:.1f},{a:.2f}", "values", 1, [(2, 3)], True),
    ("{v:.1f} V\t{a:.2f} A", "values", None, [(1, 2)], False),
    ("{a:.2f}A;{v:.1f}V", "values", None, [(2, 1)], False),
    ("{v:.1f},{a:.2f},{v:.1f},{a:.2f}", "values", None, [(1, 2), (3, 4)], True),
    ("r;{t};0;{v:.1f};{a:.2f}", "values", 2, [(4, 5)], True),
    ("V={v:.1f} I={a:.2f}", "pairs", None, [("V", "I")], False),
    ("t:{t}ms, volts:{v:.1f}, amps:{a:.2f}", "pairs", "t", [("volts", "amps")], False),
    ("Track volts: {v:.2f} V | Track amps: {a:.2f} A", "pairs", None, [("Track volts", "Track amps")], False),
    ('{{"millis":{t},"voltage":{v:.2f},"current":{a:.2f},"id":7}}', "json", "millis", [("voltage", "current")], False),
]


@pytest.mark.parametrize(("template", "form", "time_ms", "outputs", "doubts"), GUESSES)
@pytest.mark.parametrize("comma", [False, True])
def test_guesses(template, form, time_ms, outputs, doubts, comma):
    if comma and (form == "json" or ("," in template and ";" not in template)):
        return
    lines = texts(template, comma)
    guess = guess_mapping(lines, 200.3)
    assert (guess.lines.form, guess.lines.decimal, guess.lines.time_ms) == (form, "," if comma else ".", time_ms)
    assert [(output.volts, output.amps) for output in guess.lines.output] == outputs
    assert guess.lines.interval_ms == 200
    assert bool(guess.doubts) == doubts
    items = LineDecoder(MappedLines(Board(name="x", lines=guess.lines))).feed("".join(f"{line}\n" for line in lines).encode())
    (readings,) = [item for item in items if isinstance(item, LineReadings)]
    assert readings.volts_rms[0] == pytest.approx(12)
    assert readings.amps_rms[0] == pytest.approx(1.5)


def test_a_header_names_the_columns():
    guess = guess_mapping(["amps,volts,temp", *texts("{a:.2f},{v:.1f},21.5")])
    assert [(output.volts, output.amps) for output in guess.lines.output] == [(2, 1)]
    assert not guess.doubts


@pytest.mark.parametrize("template", ["{mv},{ma}", "V={mv} I={ma}", "{mv}mV {ma}mA", '{{"v_mv":{mv},"i_ma":{ma}}}'])
def test_thousandths_get_their_scale_and_a_doubt(template):
    guess = guess_mapping(texts(template))
    assert [(output.volts_scale, output.amps_scale) for output in guess.lines.output] == [(0.001, 0.001)]
    assert "volts_scale = 0.001" in mapping_text(guess.lines)
    assert any("thousandths" in doubt for doubt in guess.doubts)


@pytest.mark.parametrize(("most", "scale"), [(299, 1), (301, 0.001)])
def test_thousandths_begin_beyond_what_any_layout_has(most, scale):
    guess = guess_mapping([f"V={volts} I=1.{volts % 10}" for volts in (most - 4, most - 2, most - 1, most) * 3])
    assert guess.lines.output[0].volts_scale == scale


def test_what_is_usual_is_not_written():
    made = mapping_text(LineMapping(form="values", output=(LineOutput(volts=1, amps=2),)))
    assert made.split("\n") == ["[board.lines]", 'form = "values"', "", "[[board.lines.output]]", "volts = 1", "amps = 2"]


@pytest.mark.parametrize(
    "lines",
    [
        LineMapping(form="values", output=(LineOutput(volts=1, amps=2),)),
        LineMapping(form="values", decimal=",", time_ms=1, output=(LineOutput(volts=2, amps=3, volts_scale=0.001),)),
        LineMapping(form="json", interval_ms=200, output=(LineOutput(volts='a "b"\\', amps="i", amps_scale=0.001),) * 2),
    ],
)
def test_what_is_written_into_a_layout_file_reads_back_as_it_was(lines):
    table = tomllib.loads("[[board]]\n" + mapping_text(lines))["board"][0]["lines"]
    assert msgspec.convert(table, LineMapping) == lines


@pytest.mark.parametrize("lines", [[], ["hello", "world", "again"], ["12.3"] * 9, ["T=21.5 H=40"] * 9, ["12.3,1.5"]])
def test_nothing_to_guess(lines):
    assert guess_mapping(lines) is None
