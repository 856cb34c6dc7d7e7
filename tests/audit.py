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
SERVICES = ("pypi", "osv")
"""Who is asked: the second where the first does not answer."""
THE_TOOL_ITSELF = "pip-audit"
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
        ours: Names of the packages that count; all where it is empty (the project is not installed).
    """
    try:
        rows = json.loads(said)["dependencies"]
    except (ValueError, KeyError, TypeError):
        return None
    asked, mendable, others = 0, [], []
    for row in rows:
        name = _plain(row["name"])
        if ours and name not in ours:
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
            if applies and _plain(requirement.name) not in found | {THE_TOOL_ITSELF}:
                found.add(_plain(requirement.name))
                left.append((requirement.name, tuple(requirement.extras)))
    return frozenset(found)


def main() -> int:
    """Ask and say; 1 where something is to be mended."""
    ours = packages_of(PROJECT, ("test",))
    verdict, why = None, ""
    for service in SERVICES:
        verdict, why = _asked(service, ours)
        if verdict is not None:
            break
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


def _asked(service: str, ours: frozenset[str]) -> tuple[Verdict | None, str]:
    command = [sys.executable, "-m", "pip_audit", "--vulnerability-service", service, *COMMAND]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=LIMIT_S, check=False)
    except subprocess.TimeoutExpired:
        return None, f"no answer within {LIMIT_S} s"
    said = done.stderr.strip().splitlines() or ["no answer"]
    return judge(done.stdout, ours), "no package is known there" if done.returncode == 0 else said[-1]


def _plain(name: str) -> str:
    """As names are compared (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


if __name__ == "__main__":
    sys.exit(main())
