"""A layout as the text of its file, with a comment wherever a person may want to change something."""

from collections.abc import Iterator

import tomlkit

from monitor.layout.schema import Board, District, Layout, Output, Protection, Supply

_HEAD = """\
# What is on the bench. All figures are in SI units: volts, amps, watts or volt-amperes, seconds, metres.
# Check this file after each change with: pilotlamp layout check FILE
# The program watches and advises; it replaces no breaker. Work on the mains side is for licensed people."""
_LOAD_EXAMPLE = """
# Loads are for planning (pilotlamp budget); take the marks away and fill in what you run:
# [[load]]
# name = "Heavy freight engine"
# district = "Outer main"
# kind = "locomotive"          # "locomotive", "lighting" or "accessory"
# running_amps = 2.4
# starting_amps = 4.5"""


def commented_text(layout: Layout) -> str:
    """The layout file: boards, supplies with plate and protection, outputs, districts; what else it holds is written with ``edit``."""
    return "\n".join(_lines(layout)) + "\n"


def _lines(layout: Layout) -> Iterator[str]:
    yield from (_HEAD, f"title = {_quoted(layout.title)}", "", "[mains]")
    yield from (f"volts = {layout.mains.volts:g}", f"hertz = {layout.mains.hertz:g}")
    for board in layout.board:
        yield from _board(board)
    for supply in layout.supply:
        yield from _supply(supply)
        yield from _protection(supply.protection or Protection(kind="unknown"))
        for output in layout.output:
            if output.supply == supply.name:
                yield from _output(output)
    for district in layout.district:
        yield from _district(district)
    yield _LOAD_EXAMPLE


def _board(board: Board) -> Iterator[str]:
    yield from ("", "[[board]]", f"name = {_quoted(board.name)}             # as the board names itself")
    yield f"number = {board.number}                   # as its sketch says; only needed where two boards share a port"
    yield '# port = "/dev/ttyUSB0"      # see: pilotlamp ports' if board.port is None else f"port = {_quoted(board.port)}"
    yield f"baud = {board.baud}"
    if board.isolated_inputs:
        yield "isolated_inputs = true       # every volts input; only then may one board measure two supplies"


def _supply(supply: Supply) -> Iterator[str]:
    yield from ("", "[[supply]]", f"name = {_quoted(supply.name)}", f"current = {_quoted(supply.current)}")
    unit, figure = ("va", supply.rated_va) if supply.rated_va is not None else ("watts", supply.rated_watts)
    yield f"rated_{unit} = {figure:g}              # nameplate, all outputs together"
    mark = "" if supply.rating_is == "input" else "# "
    yield f'{mark}rating_is = "input"         # where the plate rates the mains side, as some old ones do'
    yield f"max_volts = {supply.max_volts:g}             # highest output volts; bounds the winding current at any throttle"
    for key in ("input_volts", "input_hertz"):
        if getattr(supply, key):
            yield f"{key} = [{', '.join(f'{value:g}' for value in getattr(supply, key))}]"


def _protection(protection: Protection) -> Iterator[str]:
    yield from ("", "[supply.protection]", f"kind = {_quoted(protection.kind)}")
    if protection.rated_amps is not None:
        yield f"rated_amps = {protection.rated_amps:g}            # holds for ever at this current"
    else:
        yield "# rated_amps = 10             # where it is printed on the breaker or fuse"
    yield "# points = [[2.0, 40], [3.0, 12]]   # multiple of rated_amps, typical seconds to open, from its data sheet"


def _output(output: Output) -> Iterator[str]:
    yield from ("", "[[output]]", f"supply = {_quoted(output.supply)}", f"name = {_quoted(output.name)}")
    yield f"control = {_quoted(output.control)}"
    yield "# max_amps = 10               # this output's own limit, where it has one"


def _district(district: District) -> Iterator[str]:
    yield from ("", "[[district]]", f"name = {_quoted(district.name)}", f"supply = {_quoted(district.supply)}")
    yield from (f"output = {_quoted(district.output)}", f"board = {_quoted(district.board)}")
    yield from (f"volts_channel = {district.volts_channel}", f"amps_channel = {district.amps_channel}")
    yield f"use = {_quoted(district.use)}"
    yield "# feeder = { awg = 16, one_way_m = 7.5 }   # the wire from output to district, or mm2 = 1.5"


def _quoted(text: str) -> str:
    return str(tomlkit.item(text).as_string())
