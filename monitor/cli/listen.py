"""``pilotlamp listen``: what comes over a port, raw and decoded, and how the layout file can say what it means."""

import argparse
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from monitor.app import port_source
from monitor.errors import LayoutError
from monitor.layout import Board, LineMapping, load_layout
from monitor.layout.edit import change_layout, mapping_text, set_board_lines
from monitor.link import HostClock
from monitor.link.listen import PortCapture, PortListener, listen
from monitor.runtime.reader import USUAL_BAUDS
from monitor.values import Identity, LineReadings
from monitor.wire import Fault, LineDecoder
from monitor.wire.inspection import fault_of, is_like_a_reading, why_not
from monitor.wire.line_guess import MappingGuess, guess_mapping
from monitor.wire.mapped_lines import MappedLines

LISTEN_S = 5.0
SHOWN_LINES = 8


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("port", metavar="PORT", help="a device, socket://HOST:PORT, hwgrep://PATTERN or mqtts://HOST/HALL/BOARD")
    parser.add_argument("--baud", type=int, metavar="N", help="listen at this rate only; the usual ones are tried otherwise")
    parser.add_argument("--seconds", type=float, default=LISTEN_S, metavar="S", help="listen for so long; default %(default)g")
    parser.add_argument("--into", type=Path, metavar="LAYOUT.toml", help="write the proposed [board.lines] into this layout file")
    parser.add_argument("--board", metavar="NAME", help="into the table of this board, where the port does not say which")


def run(args: argparse.Namespace) -> int:
    """Listen, show, propose; 1 where nothing is understood and nothing can be proposed."""
    layout = None if args.into is None else load_layout(args.into)
    board = None if layout is None else _board(layout.board, args, str(args.into))
    capture = _listened(args)
    if capture is None:
        print(f"Nothing that makes sense came at any of the usual baud rates ({', '.join(map(str, USUAL_BAUDS))}).")
        print("Check the board's power, its cable and its sketch; give --baud N where it sends at another rate.")
        return 1
    for line in _came(capture):
        print(line)
    if capture.form is not None:
        for line in _understood(capture):
            print(line)
        return 0
    guess = guess_mapping(capture.seen.lines, _interval_ms(capture)) if capture.seen.look == "text" else None
    if guess is None:
        print(why_not(capture.seen, args.port, capture.baud, None))
        return 1
    for line in _proposed(guess, capture.seen.lines):
        print(line)
    if board is not None:
        _write(args.into, board, guess.lines, capture.baud)
    else:
        print(f"\nPaste this below its [[board]], or write it there with: pilotlamp listen {args.port} --into LAYOUT.toml")
    return 0


def _listened(args: argparse.Namespace) -> PortCapture | None:
    clock = HostClock()
    source = port_source(args.port, args.baud or USUAL_BAUDS[0], clock)
    source.open()
    try:
        baud = args.baud
        if baud is None and "://" in args.port:
            baud = USUAL_BAUDS[0]  # means nothing there
        if baud is None:
            print(f"Listening to {args.port} at the usual baud rates ...", flush=True)
            found = listen(source, USUAL_BAUDS, clock.now_s, text_too=True)
            if found is None:
                return None
            baud = found.baud
        print(f"Listening to {args.port} at {baud} baud for {args.seconds:g} s ...", flush=True)
        return PortListener(source, clock.now_s, baud).capture(args.seconds)
    finally:
        source.close()


def _came(capture: PortCapture) -> Iterator[str]:
    rate = capture.bytes / capture.seconds
    if capture.seen.look != "text":
        kind = {"nothing": "Nothing", "bytes": "Bytes that are no text"}.get(capture.seen.look, "Packets")
        yield f"{kind}: {capture.bytes} bytes, {rate:.0f} a second."
        return
    yield f"Text: {capture.line_ends} lines, {capture.line_ends / capture.seconds:.1f} a second; {rate:.0f} bytes a second. The last lines:"
    yield from (f"    {line}" for line in capture.seen.lines[-SHOWN_LINES:])


def _understood(capture: PortCapture) -> Iterator[str]:
    form = "the packed form" if capture.form == "packed" else "the line form"
    yield f"This is {form} of firmware_notes/wire.md."
    for board in capture.boards:
        name = f'Board "{board.name}"' if board.name else "A board that does not say its name"
        counts = capture.counts.get(board.number)
        if counts is not None:
            yield f"{name}, number {board.number}: {len(board.channels)} channels, {len(counts) / capture.seconds:.0f} scans a second."
            yield from _channel_lines(board, counts.astype(float))
        elif capture.readings is not None:
            yield f"{name}: {len(board.channels) // 2} outputs, {len(capture.readings.outputs) / capture.seconds:.1f} readings a second."
            yield from _output_lines(capture.readings)
    if capture.damaged:
        last = capture.damaged[-1]
        yield f"{len(capture.damaged)} packets or lines were damaged; the last one: {last.detail or last.kind.value}."


def _channel_lines(board: Identity, counts: np.ndarray) -> Iterator[str]:
    for k, channel in enumerate(board.channels[: counts.shape[1]]):
        figures = (counts[:, k] - channel.zero_counts) * channel.units_per_count
        yield f"    channel {k}: {np.sqrt(np.mean(figures**2)):.2f} {channel.quantity} RMS, mean {np.mean(figures):.2f}"


def _output_lines(readings: LineReadings) -> Iterator[str]:
    for output in np.unique(readings.outputs).tolist():
        k = np.flatnonzero(readings.outputs == output)[-1]
        yield f"    output {output} (channels {2 * output} and {2 * output + 1}): {readings.volts_rms[k]:.2f} V, {readings.amps_rms[k]:.2f} A"


def _interval_ms(capture: PortCapture) -> float | None:
    return 1000 * capture.seconds / capture.line_ends if capture.line_ends else None


def _proposed(guess: MappingGuess, lines: Sequence[str]) -> Iterator[str]:
    if is_like_a_reading(lines[-1]):
        yield f"The last line is nearly of the form of firmware_notes/wire.md: {fault_of(lines[-1])}."
    yield "These are lines of a sketch's own. They can be read with:"
    yield ""
    yield mapping_text(guess.lines)
    yield ""
    yield from guess.doubts
    yield "Decoded with it:"
    grammar = MappedLines(Board(name="here", lines=guess.lines))
    for line in lines[-SHOWN_LINES:]:
        items = LineDecoder(grammar).feed(line.encode() + b"\n")
        readings = [item for item in items if isinstance(item, LineReadings)]
        faults = [item.detail for item in items if isinstance(item, Fault)]
        yield f"    {line}"
        yield from (f"    {text}" for each in readings for text in _output_lines(each))
        yield from (f"        damaged: {detail}" for detail in faults)


def _board(boards: Sequence[Board], args: argparse.Namespace, source: str) -> Board:
    fits = [board for board in boards if (board.name == args.board if args.board else board.port == args.port)]
    fits = fits or ([boards[0]] if len(boards) == 1 and not args.board else [])
    if len(fits) != 1:
        names = ", ".join(board.name for board in boards) or "none"
        raise LayoutError(f"say with --board NAME which board is at {args.port}, one of: {names}", source=source)
    return fits[0]


def _write(file: Path, board: Board, lines: LineMapping, baud: int) -> None:
    change_layout(file, lambda text: set_board_lines(text, board.name, lines, baud))
    print(f'\nWritten into {file}, board "{board.name}"; the file as it was is kept beside it.')
