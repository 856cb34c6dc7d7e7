"""The command line: finds the command's module, turns errors into one plain line."""

import argparse
import importlib
import sys
from collections.abc import Sequence

from monitor.cli.plain_output import PlainOutput, print_nowhere
from monitor.errors import MonitorError
from monitor.planning.cautions import OF_COMMAND, cautions_at

COMMANDS = {
    "demo": "see it work without any hardware: a modelled show, watched live",
    "watch": "watch the layout: page, warnings, recording; what pilotlamp alone does",
    "hall": "watch a whole hall: the stations of many layouts, on one page",
    "collect": "keep what all stations say, in tables",
    "ask": "questions about what was collected, over halls and years",
    "sift": "work through a capture or a recording offline",
    "replay": "play a recorded session on the live page, also by another layout",
    "sessions": "list recorded sessions, put cut-off ones in order",
    "report": "a session as a page that prints, as PDF, as a table",
    "snapshots": "samples around the events of a session, as COMTRADE or CSV",
    "pack": "make one file of a session",
    "unpack": "make a session of a packed file",
    "layout": "check a layout file, explain its keys, or write a new one",
    "calibrate": "set zero and gain of each channel against a meter",
    "ports": "list what is plugged in",
    "listen": "show what comes over a port, and propose how to read it",
    "bench": "bench check of each supply: fit to use or not, and why",
    "learn": "learn what an engine draws, from the running layout",
    "budget": "what the loads draw against every limit",
    "share": "share the load over the supplies at least cost",
    "terminals": "find the common among a supply's terminals",
    "wiring": "the wiring card of the layout: which wire goes where",
    "phase": "phase several supplies with a meter",
    "passphrase": "set what lets other devices act on a shared page",
    "doctor": "check whether this computer can do the job",
    "service": "print a unit for systemd that keeps a watch going",
    "morning": "the show-morning list, to print and tick off",
    "rehearse": "write captures of a modelled layout whose truth is known",
}
"""Each command has a module of its name here with ``configure(parser)`` and ``run(args) -> int``; imported only when called."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command.

    Returns:
        The exit code: 0, or 2 with one plain line on standard error.
    """
    streams = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = PlainOutput(sys.stdout), PlainOutput(sys.stderr)
    try:
        return _run(list(sys.argv[1:] if argv is None else argv))
    finally:
        sys.stdout, sys.stderr = streams


def _run(arguments: list[str]) -> int:
    try:
        arguments = arguments or ["watch"]
        parser = _parser(arguments)
        args = parser.parse_args(arguments)
        if not hasattr(args, "run"):
            parser.print_help()
            return 2
        return int(args.run(args))
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:
        # The reader of our output went away (a pager, head): nothing is wrong here.
        print_nowhere()
        return 0
    except (MonitorError, OSError) as error:
        print(f"pilotlamp: {_sentence(error)}", file=sys.stderr)
        return 2
    except (MemoryError, RuntimeError) as error:
        if isinstance(error, RuntimeError) and "thread" not in str(error):
            raise
        # A thread that cannot be started lacks memory for its stack.
        print("pilotlamp: this computer has too little memory free: close other programs, then start again", file=sys.stderr)
        return 2


def _sentence(error: MonitorError | OSError) -> str:
    if not isinstance(error, OSError):
        return str(error)
    if error.filename is None:
        raise error
    return f"{error.filename}: {error.strerror}: check the name, its folder and its rights"


def _cautions(command: str) -> str | None:
    """What stands below a command's help where its output leads a hand to a wire."""
    moment = OF_COMMAND.get(command)
    return None if moment is None else "Cautions. " + " ".join(cautions_at(moment)).replace("%", "%%")


def _version() -> str:
    metadata = importlib.import_module("importlib.metadata")  # only where it is asked for: it takes a while to import
    try:
        return str(metadata.version("pilotlamp"))
    except metadata.PackageNotFoundError:
        return "of a source folder, not installed"


def _parser(arguments: list[str]) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="pilotlamp", description="Watches the supplies of a toy-train layout and warns before its protection opens."
    )
    parser.add_argument("--version", action="version", version=f"pilotlamp {_version()}" if "--version" in arguments else "")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")
    called = next((argument for argument in arguments if argument in COMMANDS), None)
    for name, purpose in COMMANDS.items():
        command = commands.add_parser(name, help=purpose, description=f"{purpose[0].upper()}{purpose[1:]}.")
        if name == called:
            module = importlib.import_module(f"monitor.cli.{name}")
            module.configure(command)
            command.epilog = _cautions(name)
            command.set_defaults(run=module.run)
    return parser
