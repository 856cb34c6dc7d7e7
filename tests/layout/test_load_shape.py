"""All errors at once, against the library's own checker: what it takes has no errors, what it refuses has."""

import tomllib
from pathlib import Path

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.cli.main import main
from monitor.layout import load_layout
from monitor.layout.load import layout_errors, shape_errors
from monitor.layout.reference import describe, example_text, reference_text
from monitor.layout.schema import Layout
from tests.layout.fernhollow import FERNHOLLOW

EXAMPLE = tomllib.loads(example_text())
MANY = (
    FERNHOLLOW.replace("hertz = 60\n", "", 1)
    .replace('kind = "thermal"', 'kind = "magic"')
    .replace("volts_channel = 2", "volts_chanel = 2")
)


def test_all_errors_are_told_at_once_with_what_is_allowed(tmp_path, capsys):
    path = tmp_path / "show.toml"
    path.write_text(MANY)
    said = [str(error) for error in layout_errors(path)]
    assert len(said) == 4
    assert "table mains, key hertz: this key is missing: add it, a number from 15 to 65" in said[0]
    assert 'supply "North bench", key protection.kind: this is "magic", and has to be one of "thermal", "electronic"' in said[1]
    assert (
        'district "Town lights", key volts_chanel: this key is not one of this table\'s: did you mean "volts_channel"?' in said[2]
    )
    assert "volts_channel: this key is missing" in said[3]
    assert main(["layout", "check", str(path)]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 4


def test_what_holds_between_tables_is_told_all_at_once_too(tmp_path):
    path = tmp_path / "show.toml"
    path.write_text(FERNHOLLOW.replace('output = "A"', 'output = "C"').replace("volts_channel = 2", "volts_channel = 0"))
    assert len(layout_errors(path)) == 2


def test_a_byte_order_mark_is_no_error(tmp_path, capsys):
    path = tmp_path / "show.toml"
    path.write_bytes(b"\xef\xbb\xbf" + FERNHOLLOW.encode())
    assert load_layout(path).title == "Fernhollow show layout"
    assert main(["layout", "check", str(path)]) == 0
    assert "good" in capsys.readouterr().out


def paths(value, path=()):
    yield path
    if isinstance(value, dict):
        for key, each in value.items():
            yield from paths(each, (*path, key))
    elif isinstance(value, list):
        for k, each in enumerate(value):
            yield from paths(each, (*path, k))


PLACES = [path for path in paths(EXAMPLE) if path]
odd = st.one_of(
    st.sampled_from(
        [-1, 0, 1, 2.5, 1e9, float("nan"), float("inf"), "", "x" * 99, "ac", True, [], {}, [1], [[2, 3]], {"x": 1}, "2026-13-40"]
    ),
    st.integers(-10, 10),
    st.text(max_size=3),
)


@given(path=st.sampled_from(PLACES), value=odd, drop=st.booleans())
def test_errors_are_found_exactly_where_the_library_finds_any(path, value, drop):
    raw = tomllib.loads(example_text())
    at = raw
    for step in path[:-1]:
        at = at[step]
    if drop:
        del at[path[-1]]
    else:
        at[path[-1]] = value
    try:
        msgspec.convert(raw, Layout)
        refused = False
    except msgspec.ValidationError:
        refused = True
    errors = list(shape_errors(raw, Layout))
    assert bool(errors) == refused
    assert all(found[: len(path) - 1] == path[: len(found[: len(path) - 1])] for found, _ in errors)


def test_the_example_uses_every_key_and_each_is_described():
    tables = list(describe())
    assert {table.header for table in tables} >= {"[mains]", "[[board]]", "[[board.lines.output]]", '[calibration."bench-1".0]'}
    for table in tables:
        for key in table.keys:
            assert key.meaning, f"{table.header} {key.name} has no line in its docstring"
            is_table = key.allowed == "a table, see below"
            assert is_table or key.example, f"{table.header} {key.name} is not in example.toml"


def test_the_example_is_a_layout(tmp_path, capsys):
    assert main(["layout", "keys", "--example"]) == 0
    path = tmp_path / "all.toml"
    path.write_text(capsys.readouterr().out)
    assert layout_errors(path) == []


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("max_volts", "| volts | a number above 0 to 1000 | required | `max_volts = 18` |"),
        ("baud", "| bits per second | a whole number from 300 to 4000000 | 500000 |"),
        ("lap_s", "| seconds | a number above 0.5 to 3600 |"),
        ("control", '|  | one of "variable", "constant" | required |'),
    ],
)
def test_the_reference_says_unit_allowed_values_default_and_an_example(key, words):
    assert words in next(line for line in reference_text().splitlines() if line.startswith(f"| `{key}` |"))


def test_the_chapter_in_the_notes_is_what_the_command_prints(capsys):
    assert main(["layout", "keys"]) == 0
    chapter = Path(__file__).parents[2] / "firmware_notes" / "layout.md"
    assert chapter.read_text() == capsys.readouterr().out, "write it anew: pilotlamp layout keys > firmware_notes/layout.md"


def test_the_version_is_told(capsys):
    with pytest.raises(SystemExit) as ended:
        main(["--version"])
    assert ended.value.code == 0
    assert capsys.readouterr().out.startswith("pilotlamp ")
