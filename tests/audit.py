"""Asks whether any package that the project stands on has a known vulnerability; ``python -m tests.audit``.

It fails for a vulnerability that a newer version mends. Where nobody can be asked (no network, no answer) it says so and passes: a test
that depends on the network would say nothing about the code.
"""

import json
import re
import subprocess
import sys
from dataclasses import dataclass
from importlib import metadata

from packaging.requirements import Requirement

PROJECT = "pilotlamp"
LIMIT_S = 90
COMMAND = ("--local", "--progress-spinner", "off", "--timeout", "10", "--format", "json")


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What came of it.

    Attributes:
        asked: How many packages could be asked about.
        mendable: Vulnerabilities that a newer version mends, a line each.
        others: Those without a remedy so far, and packages that nobody could be asked about.
    """

    asked: int
    mendable: tuple[str, ...]
    others: tuple[str, ...]


def judge(said: str, ours: frozenset[str]) -> Verdict | None:
    """Read what the audit found; None where it found out nothing.

    Args:
        said: Its JSON.
        ours: Names of the packages that count.
    """
    try:
        rows = json.loads(said)["dependencies"]
    except (ValueError, KeyError, TypeError):
        return None
    asked, mendable, others = 0, [], []
    for row in rows:
        name = _plain(row["name"])
        if name not in ours:
            continue
        if "vulns" not in row:
            others.append(f"{name}: {row.get('skip_reason', 'not asked about')}")
            continue
        asked += 1
        for found in row["vulns"]:
            fixes = ", ".join(found["fix_versions"])
            line = f"{name} {row['version']}: {found['id']}"
            if fixes:
                mendable.append(f"{line}, mended in {fixes}")
            else:
                others.append(f"{line}, no remedy so far")
    return Verdict(asked=asked, mendable=tuple(mendable), others=tuple(others)) if asked else None


def packages_of(project: str, extras: tuple[str, ...]) -> frozenset[str]:
    """Everything that a project needs, directly or by others, as far as it is installed."""
    found: set[str] = set()
    left = [(project, extras)]
    while left:
        name, wanted = left.pop()
        try:
            requires = metadata.requires(name) or []
        except metadata.PackageNotFoundError:
            continue
        for requirement in map(Requirement, requires):
            applies = requirement.marker is None or any(requirement.marker.evaluate({"extra": extra}) for extra in ("", *wanted))
            if applies and _plain(requirement.name) not in found:
                found.add(_plain(requirement.name))
                left.append((requirement.name, tuple(requirement.extras)))
    return frozenset(found)


def main() -> int:
    """Ask and say; 1 where something is to be mended."""
    ours = packages_of(PROJECT, ("test",))
    try:
        done = subprocess.run(
            [sys.executable, "-m", "pip_audit", *COMMAND], capture_output=True, text=True, timeout=LIMIT_S, check=False
        )
        verdict, why = judge(done.stdout, ours), (done.stderr.strip().splitlines() or ["no answer"])[-1]
    except subprocess.TimeoutExpired:
        verdict, why = None, f"no answer within {LIMIT_S} s"
    if verdict is None:
        print("!" * 100)
        print(
            f"THE DEPENDENCIES WERE NOT AUDITED: nobody could be asked ({why[:200]}).\nRun this again with a network: python -m tests.audit"
        )
        print("!" * 100)
        return 0
    for line in verdict.others:
        print(f"  {line}")
    for line in verdict.mendable:
        print(f"! {line}")
    print(f"{verdict.asked} packages asked about, {len(verdict.mendable)} to be mended.")
    return 1 if verdict.mendable else 0


def _plain(name: str) -> str:
    """As names are compared (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


if __name__ == "__main__":
    sys.exit(main())
