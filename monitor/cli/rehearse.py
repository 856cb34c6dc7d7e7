"""`pilotlamp rehearse`: captures with known truth, for work on the rules (a developers' command)."""

import argparse
from pathlib import Path

from monitor.errors import MonitorError
from monitor.rehearsal.scene import write_capture
from monitor.rehearsal.scenes import KINDS, random_scene


def configure(parser: argparse.ArgumentParser) -> None:
    """Set up the command's arguments."""
    parser.add_argument("scene", help=f"kind of scene, or all: {', '.join(KINDS)}", metavar="SCENE")
    parser.add_argument("--seed", type=int, default=1, help="what the first scene is drawn from (default 1)")
    parser.add_argument("--count", type=int, default=1, help="how many, with the seeds that follow (default 1)")
    parser.add_argument("--out", type=Path, required=True, help="folder for the captures", metavar="FOLDER")


def run(args: argparse.Namespace) -> int:
    """Write the captures."""
    kinds = list(KINDS) if args.scene == "all" else [args.scene]
    if unknown := [kind for kind in kinds if kind not in KINDS]:
        raise MonitorError(f"no scene is called {unknown[0]}: choose one of {', '.join(KINDS)}")
    for kind in kinds:
        for seed in range(args.seed, args.seed + args.count):
            try:
                print(write_capture(random_scene(kind, seed), args.out))
            except OSError as error:
                raise MonitorError(f"cannot write to {args.out}: {error.strerror}. Choose another folder with --out") from error
    return 0
