"""A layout file in the making, and its commented text."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import tomlkit


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardDraft:
    """A board; port None where it is not plugged in yet."""

    name: str
    number: int
    port: str | None
    baud: int
    isolated_inputs: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputDraft:
    """An output of a supply."""

    supply: str
    name: str
    is_variable: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyDraft:
    """A supply with its outputs, as read off its nameplate."""

    name: str
    current: str
    rated_va: float
    max_volts: float
    protection: str
    protection_amps: float | None
    outputs: Sequence[OutputDraft]


@dataclass(frozen=True, slots=True, kw_only=True)
class DistrictDraft:
    """A district and the pair of channels that measure it."""

    name: str
    output: OutputDraft
    board: str
    volts_channel: int
    amps_channel: int
    use: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """All of it."""

    title: str
    mains_volts: float
    mains_hertz: float
    boards: Sequence[BoardDraft]
    supplies: Sequence[SupplyDraft]
    districts: Sequence[DistrictDraft]

    def text(self) -> str:
        """The layout file, with a comment wherever a person may want to change something."""
        return "\n".join(self._lines()) + "\n"

    def _lines(self) -> Iterator[str]:
        yield "# What is on the bench. All figures are in SI units: volts, amps, watts or volt-amperes, seconds, metres."
        yield "# Check this file after each change with: pilotlamp layout check FILE"
        yield "# The program watches and advises; it replaces no breaker. Work on the mains side is for licensed people."
        yield f"title = {_quoted(self.title)}"
        yield from ("", "[mains]", f"volts = {_figure(self.mains_volts)}", f"hertz = {_figure(self.mains_hertz)}")
        for board in self.boards:
            yield from _board_lines(board)
        for supply in self.supplies:
            yield from _supply_lines(supply)
        for district in self.districts:
            yield from _district_lines(district)
        yield from _LOAD_EXAMPLE


_LOAD_EXAMPLE = (
    "",
    "# Loads are for planning (pilotlamp budget); take the marks away and fill in what you run:",
    "# [[load]]",
    '# name = "Heavy freight engine"',
    '# district = "Outer main"',
    '# kind = "locomotive"          # "locomotive", "lighting" or "accessory"',
    "# running_amps = 2.4",
    "# starting_amps = 4.5",
)


def _board_lines(board: BoardDraft) -> Iterator[str]:
    yield from ("", "[[board]]", f"name = {_quoted(board.name)}             # as the board names itself")
    yield f"number = {board.number}                   # as its sketch says; only needed where two boards share a port"
    if board.port is None:
        yield '# port = "/dev/ttyUSB0"      # see: pilotlamp ports'
    else:
        yield f"port = {_quoted(board.port)}"
    yield f"baud = {board.baud}"
    if board.isolated_inputs:
        yield "isolated_inputs = true       # every volts input; only then may one board measure two supplies"


def _supply_lines(supply: SupplyDraft) -> Iterator[str]:
    yield from ("", "[[supply]]", f"name = {_quoted(supply.name)}")
    yield f"current = {_quoted(supply.current)}"
    yield f"rated_va = {_figure(supply.rated_va)}              # nameplate, all outputs together"
    yield '# rating_is = "input"         # where the plate rates the mains side, as some old ones do'
    yield f"max_volts = {_figure(supply.max_volts)}             # highest output volts; bounds the winding current at any throttle"
    yield from ("", "[supply.protection]", f"kind = {_quoted(supply.protection)}")
    if supply.protection_amps is not None:
        yield f"rated_amps = {_figure(supply.protection_amps)}            # holds for ever at this current"
    else:
        yield "# rated_amps = 10             # where it is printed on the breaker or fuse"
    yield "# points = [[2.0, 40], [3.0, 12]]   # multiple of rated_amps, typical seconds to open, from its data sheet"
    for output in supply.outputs:
        yield from ("", "[[output]]", f"supply = {_quoted(output.supply)}", f"name = {_quoted(output.name)}")
        yield f"control = {_quoted('variable' if output.is_variable else 'constant')}"
        yield "# max_amps = 10               # this output's own limit, where it has one"


def _district_lines(district: DistrictDraft) -> Iterator[str]:
    yield from ("", "[[district]]", f"name = {_quoted(district.name)}")
    yield f"supply = {_quoted(district.output.supply)}"
    yield f"output = {_quoted(district.output.name)}"
    yield f"board = {_quoted(district.board)}"
    yield f"volts_channel = {district.volts_channel}"
    yield f"amps_channel = {district.amps_channel}"
    yield f"use = {_quoted(district.use)}"
    yield "# feeder = { awg = 16, one_way_m = 7.5 }   # the wire from output to district, or mm2 = 1.5"


def _quoted(text: str) -> str:
    return str(tomlkit.item(text).as_string())


def _figure(value: float) -> str:
    return f"{value:g}"
