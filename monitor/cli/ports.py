"""``pilotlamp ports``: what is plugged in, and whether this user may read it."""

import argparse

from monitor.link.ports import find_ports


def configure(parser: argparse.ArgumentParser) -> None:
    """No arguments."""
    del parser


def run(args: argparse.Namespace) -> int:
    """Print one line a port; exit code 1 where there is none."""
    del args
    found = find_ports()
    for port in found:
        print(f"{port.device}  {port.description}")
        if port.remedy is not None:
            print(f"    you may not read it yet: {port.remedy}")
    if not found:
        print("No serial port found: plug the board in (a charging-only USB cable shows nothing either) and try again.")
    return 0 if found else 1
