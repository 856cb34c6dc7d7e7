"""Figures are held to Python's own ``float`` and to the reading of one line after the other."""

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.wire import LineDecoder
from monitor.wire import thresholds as th
from monitor.wire.line_shapes import NUMBERS_LIMIT, LineShapes, digits_are_figures
from monitor.wire.mapped_lines import MappedLines
from tests.wire.test_mapped_lines import OneByOne, board, exact


def read_pair(line):
    """Two decimals between commas."""
    try:
        volts, amps = map(float, line.decode().split(","))
    except ValueError:
        return None
    return volts, amps


def shapes(limits=(math.inf, math.inf), *, zeros_may_lead=True):
    return LineShapes(read_pair, limits, zeros_may_lead=zeros_may_lead)


def text_of(rows):
    return "".join(f"{row}\n" for row in rows).encode()


@given(st.lists(st.tuples(st.integers(0, 10**11), st.integers(0, 10**6), st.sampled_from("-+ "), st.integers(0, 7)), min_size=1))
def test_what_is_read_at_once_is_what_one_by_one_gives(drawn):
    rows = [f"{sign.strip()}{whole}.{part:0{width}d},{part}" for whole, part, sign, width in drawn]
    table, is_read = shapes().read(text_of(rows), len(rows))
    plain = [
        len(str(whole)) <= 10 and len(f"{part:0{width}d}") + len(str(whole)) <= 15 for whole, part, _, width in drawn
    ]  # fmt: skip
    of_shape = {sign: k for k, sign in enumerate(dict.fromkeys(sign for _, _, sign, _ in drawn))}
    assert len(of_shape) < th.SHAPES_AT_ONCE
    assert is_read.tolist() == plain
    assert table[is_read].tolist() == [list(read_pair(row.encode())) for row, ok in zip(rows, plain, strict=True) if ok]


def test_shapes_beyond_those_of_one_block_wait_for_one_by_one():
    rows = [f"1{' ' * k},2" for k in range(th.SHAPES_AT_ONCE + 3)]
    _, is_read = shapes().read(text_of(rows), len(rows))
    assert is_read.tolist() == [True] * th.SHAPES_AT_ONCE + [False] * 3


def test_limits_and_leading_zeros_are_for_one_by_one():
    rows = ["1,2", "63,2", "64,2", "007,2", "0,2"]
    _, is_read = shapes((64, math.inf), zeros_may_lead=False).read(text_of(rows), len(rows))
    assert is_read.tolist() == [True, True, False, False, True]


def test_more_numbers_than_can_be_told_apart():
    def read(line):
        return tuple(map(float, line.decode().split(",")))[:1]

    for count, told in ((NUMBERS_LIMIT, True), (NUMBERS_LIMIT + 1, False)):
        _, is_read = LineShapes(read, [math.inf], zeros_may_lead=True).read(text_of([",".join("1" * count)]), 1)
        assert is_read.tolist() == [told]


def test_a_reader_with_many_shapes_forgets_and_reads_on():
    many = shapes()
    for k in range(th.SHAPES_KEPT + 5):
        _, is_read = many.read(text_of([f"1{' ' * k},2"]), 1)
        assert is_read.all()
    assert many._slots_of.cache_info().currsize == th.SHAPES_KEPT


def test_few_lines_are_left_to_one_by_one(monkeypatch):
    monkeypatch.setattr("monitor.wire.thresholds.FEWEST_AT_ONCE", 3)
    assert [shapes().read(text_of(["1,2"] * n), n)[1].all() for n in (2, 3)] == [False, True]


@pytest.mark.parametrize(
    ("names", "safe"), [(("V", "I"), True), (("V1", "ch_12 A"), True), (("7",), False), (("V 1",), False), (("a1.5",), False)]
)
def test_digits_of_names(names, safe):
    assert digits_are_figures(names) is safe


@given(st.lists(st.dictionaries(st.sampled_from(["7", "10", "11", "v1", "v2"]), st.integers(0, 99), min_size=2), min_size=2))
def test_numbers_that_are_names_are_never_taken_for_each_other(objects):
    data = text_of(map(json.dumps, objects))
    for of in (board("json", ("10", "11")), board("json", ("v1", "v2")), board("pairs", ("10", "7"))):
        assert exact(LineDecoder(MappedLines(of)).feed(data)) == exact(LineDecoder(OneByOne(of)).feed(data))
