"""What the shape alone cannot say: names that point nowhere, channels used twice, figures that cannot be together."""

import difflib
from collections.abc import Iterable, Iterator

from monitor.errors import LayoutError
from monitor.layout.line_mapping import LineMapping
from monitor.layout.schema import District, Layout, Output, Supply

CHANNELS_LIMIT = 128
"""Line boards have up to 64 outputs, two channels each; packed ones up to 20 channels."""


def layout_faults(layout: Layout, *, source: str | None = None) -> Iterator[LayoutError]:
    """Everything that does not hold between tables."""
    for table, key, message in _errors(layout):
        yield LayoutError(message, source=source, table=table, key=key)


def check_isolation(layout: Layout, *, source: str | None = None) -> None:
    """Refuse two supplies on one board: their commons would be joined on it. Recordings of such a board can still be read.

    Raises:
        LayoutError: A board measures two supplies and does not say that its inputs are isolated.
    """
    for board in layout.board:
        supplies = list(dict.fromkeys(district.supply for district in layout.districts_of_board(board.name)))
        if len(supplies) > 1 and not board.isolated_inputs:
            raise LayoutError(
                f"it measures {' and '.join(supplies)}, and its common wire would join their commons: give each supply a board and a USB "
                "isolator of its own, or isolate every volts input (firmware_notes/wiring.md shows a circuit) and say isolated_inputs = true",
                source=source,
                table=f'board "{board.name}"',
                key="isolated_inputs",
            )


TableError = tuple[str | None, str | None, str]
"""Table, key, and what is wrong there."""


def _errors(layout: Layout) -> Iterator[TableError]:
    yield from _twice("board", (board.name for board in layout.board))
    yield from _twice("supply", (supply.name for supply in layout.supply))
    yield from _twice("output", (f"{output.supply}/{output.name}" for output in layout.output))
    yield from _twice("district", (district.name for district in layout.district))
    yield from _twice("load", (load.name for load in layout.load))
    for board in layout.board:
        if board.lines is not None:
            yield from _line_errors(f'board "{board.name}"', board.lines)
    for supply in layout.supply:
        yield from _supply_errors(supply)
    for output in layout.output:
        yield from _output_errors(output, layout)
    for district in layout.district:
        yield from _district_errors(district, layout)
    yield from _channel_errors(layout)
    for load in layout.load:
        yield from points_nowhere(f'load "{load.name}"', "district", [load.district], [d.name for d in layout.district])
    yield from _calibration_errors(layout)
    yield from _wire_number_errors(layout)


def _twice(kind: str, names: Iterable[str]) -> Iterator[TableError]:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            yield f'{kind} "{name}"', "name", "two tables have this name: give each its own"
        seen.add(name)


def points_nowhere(table: str | None, key: str, names: Iterable[str], known: Iterable[str]) -> Iterator[TableError]:
    """What is wrong with names that are to be names of tables, with the remedy."""
    choices = list(known)
    for name in names:
        if name not in choices:
            close = difflib.get_close_matches(name, choices, n=1)
            remedy = f'did you mean "{close[0]}"?' if close else f"use one of: {', '.join(choices) or '(none yet)'}"
            yield table, key, f'"{name}" points nowhere: {remedy}'


def _line_errors(table: str, lines: LineMapping) -> Iterator[TableError]:
    by_place = lines.form == "values"
    used: dict[int | str, str] = {}
    for asked, place in lines.places:
        key = f"lines.{asked.replace('output ', 'output.').replace(' ', '.')}"
        if by_place and isinstance(place, str):
            yield table, key, f'"{place}" is a name, and lines of the form "values" have none: write a place, counted from 1'
        elif not by_place and isinstance(place, int):
            yield table, key, f'lines of the form "{lines.form}" go by name: write the name that stands in the line, in quotes'
        if place in used:
            yield table, key, f"{place!r} is {used[place]} already: one place, one figure"
        used[place] = asked
    for n, output in enumerate(lines.output):
        for key in ("volts_scale", "amps_scale"):
            if getattr(output, key) == 0:
                yield (
                    table,
                    f"lines.output.{n}.{key}",
                    "a scale of 0 makes every figure 0: write what one printed unit stands for",
                )


def _supply_errors(supply: Supply) -> Iterator[TableError]:
    table = f'supply "{supply.name}"'
    if (supply.rated_va is None) == (supply.rated_watts is None):
        yield table, "rated_va", "give exactly one of rated_va and rated_watts, as the nameplate reads"
    for key in ("input_volts", "input_hertz"):
        figures = getattr(supply, key)
        if figures is not None and (not figures or list(figures) != sorted(figures)):
            yield table, key, "give one figure or several in rising order, as the plate reads"
    protection = supply.protection
    if protection is None:
        return
    if protection.kind in ("thermal", "electronic", "fuse") and protection.rated_amps is None:
        yield (
            table,
            "protection.rated_amps",
            "this kind of protection needs the amps that it holds for ever: add rated_amps",
        )
    for before, after in zip(protection.points, protection.points[1:], strict=False):
        if after[0] <= before[0] or after[1] > before[1]:
            yield table, "protection.points", "points must rise in amps and fall in seconds: put them in order"


def _output_errors(output: Output, layout: Layout) -> Iterator[TableError]:
    yield from points_nowhere(
        f'output "{output.supply}/{output.name}"', "supply", [output.supply], [s.name for s in layout.supply]
    )


def _district_errors(district: District, layout: Layout) -> Iterator[TableError]:
    table = f'district "{district.name}"'
    yield from points_nowhere(table, "supply", [district.supply], [supply.name for supply in layout.supply])
    outputs = [output.name for output in layout.output if output.supply == district.supply]
    yield from points_nowhere(table, "output", [district.output], outputs)
    yield from points_nowhere(table, "board", [district.board], [board.name for board in layout.board])
    if district.feeder and (district.feeder.awg is None) == (district.feeder.mm2 is None):
        yield table, "feeder", "give exactly one of awg and mm2 for the feeder"


def _channel_errors(layout: Layout) -> Iterator[TableError]:
    used: dict[tuple[str, int], str] = {}
    for district in layout.district:
        for key in ("volts_channel", "amps_channel", "far_volts_channel"):
            channel = getattr(district, key)
            if channel is None:
                continue
            place = (district.board, channel)
            if place in used:
                yield (
                    f'district "{district.name}"',
                    key,
                    f'channel {channel} of board "{district.board}" is already used by {used[place]}: one channel, one thing',
                )
            used[place] = f'{key} of district "{district.name}"'


def _calibration_errors(layout: Layout) -> Iterator[TableError]:
    boards = [board.name for board in layout.board]
    for board, channels in layout.calibration.items():
        table = f'calibration."{board}"'
        yield from points_nowhere(table, "board", [board], boards)
        for channel in channels:
            if not channel.isdecimal() or int(channel) >= CHANNELS_LIMIT:
                yield table, channel, f"calibration is by channel number, 0 to {CHANNELS_LIMIT - 1}: correct the number"


def _wire_number_errors(layout: Layout) -> Iterator[TableError]:
    seen: dict[tuple[str | None, int], str] = {}
    for board in layout.board:
        place = (board.port, board.number)
        if board.port is not None and place in seen:
            yield (
                f'board "{board.name}"',
                "number",
                f'board "{seen[place]}" has the same port and number: two boards on one port need two numbers',
            )
        seen[place] = board.name
