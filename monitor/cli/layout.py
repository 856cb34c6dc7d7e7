"""``pilotlamp layout``: check a layout file, explain its keys, or write a new one."""

import argparse
import importlib
import sys
from pathlib import Path

from monitor.layout import load_layout
from monitor.layout.check import check_isolation
from monitor.layout.load import layout_errors


def configure(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    actions = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    check = actions.add_parser("check", help="say whether a layout file can be used")
    check.add_argument("file", type=Path, metavar="FILE")
    check.set_defaults(action=_check)
    keys = actions.add_parser(
        "keys", help="every key of the file: what it says, its unit, what it may hold, its default, an example"
    )
    keys.add_argument("--example", action="store_true", help="a file that uses every key, instead")
    keys.set_defaults(action=_keys)
    new = actions.add_parser("new", help="ask a few questions and write a commented file for the board that is plugged in")
    new.add_argument("file", type=Path, nargs="?", default=Path("layout.toml"), metavar="FILE", help="default %(default)s")
    new.add_argument("--port", action="append", metavar="DEVICE", help="listen only there; may be given again for other boards")
    new.set_defaults(action=_new)


def run(args: argparse.Namespace) -> int:
    """Run the chosen action."""
    return int(args.action(args))


def _check(args: argparse.Namespace) -> int:
    errors = layout_errors(args.file)
    for error in errors:
        print(f"pilotlamp: {error}", file=sys.stderr)
    if errors:
        return 2
    layout = load_layout(args.file)
    check_isolation(layout, source=str(args.file))
    print(
        f"{args.file}: good. {len(layout.supply)} supplies, {len(layout.output)} outputs, "
        f"{len(layout.district)} districts, {len(layout.board)} boards, {len(layout.load)} loads."
    )
    return 0


def _keys(args: argparse.Namespace) -> int:
    # Looked up when called: "check" has no need of it.
    reference = importlib.import_module("monitor.layout.reference")
    print(reference.example_text() if args.example else reference.reference_text(), end="")
    return 0


def _new(args: argparse.Namespace) -> int:
    # Looked up when called: "check" has no need of ports and questions.
    return int(importlib.import_module("monitor.cli.layout_new").run(args))
