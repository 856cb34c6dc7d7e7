"""Do the tests notice? ``python -m tests.bench.mutate ROOM [--mutants N] [--seed N]`` changes one thing of a room at a time.

A mutant is one small change that a slip of the hand could make: a comparison turned or moved by its edge, a sign, a bound that never
binds, a condition that always or never holds, a figure a third off, a statement left out. It is caught where a test fails or hangs.
Each is a row of a table, ``ROOM-SEED.tsv`` in the folder of ``--out``: read what survives, and name it equivalent or write the test. A
run that was stopped goes on where it was; ``--again`` tries the survivors once more.

A mutant meets only tests that can notice it: those that reach its line, fastest first, then, where a file keeps what it made once for
several tests, the rest of that file. Which reach what is measured once for each test file, in a process of its own, and kept until the
room or the file changes; programs that a test starts are not seen. Each mutant runs in a fork of a process in which only packages from
outside are imported, on a copy of the tree. Mutation analysis after DeMillo, Lipton and Sayward (1978).
"""

import argparse
import ast
import contextlib
import copy
import hashlib
import importlib
import json
import multiprocessing
import os
import random
import re
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

ROOT = Path(__file__).parents[2]
NEIGHBOURS = {"facts": ("diagnosis", "protection"), "values": ("protection", "diagnosis"), "layout": ("planning",)}
"""Rooms whose tests check a room too."""
WARM = ("hypothesis", "numpy", "scipy.signal", "pandas", "pyarrow", "playwright.sync_api", "dash", "tomlkit", "cryptography")
TURNED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.GtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Lt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
SWAPPED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}  # fmt: skip
NAMES = {"min": "max", "max": "min", "any": "all", "all": "any", "minimum": "maximum", "maximum": "minimum"}
NOTES = ("log", "_log", "logger", "_logger", "LOG", "_LOG")
SLOWER, START_S = 5.0, 20.0
"""A mutant hangs after so many times what its tests took, and so many seconds to start."""


class Mutant(NamedTuple):
    """One change: the file, the number of the node in its tree, which of its changes."""

    path: Path
    number: int
    which: int


class TestFile(NamedTuple):
    """Seconds of each test of a file, and the tests that reach each line of a room ("" while it is imported)."""

    seconds: dict[str, float]
    reached: dict[str, dict[str, list[str]]]


def changes(node: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    """What could go wrong at one node: words for it, and what stands there instead."""
    if isinstance(node, ast.If):
        yield "never so", _with(node, test=ast.Constant(value=False))
        yield "always so", _with(node, test=ast.Constant(value=True))
    elif isinstance(node, ast.Constant) and type(node.value) in (int, float) and node.value not in (0, 1):
        yield "figure 30 % higher", ast.Constant(value=type(node.value)(node.value * 1.3 + (type(node.value) is int)))
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in NAMES:
        yield f"{node.func.id} for {NAMES[node.func.id]}", _with(node, func=ast.Name(id=NAMES[node.func.id], ctx=ast.Load()))
    elif isinstance(node, ast.AugAssign) or (isinstance(node, ast.Expr) and not isinstance(node.value, ast.Constant)):
        yield "statement left out", ast.Pass()
    else:
        yield from _operators(node)


def _operators(node: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    if isinstance(node, ast.Compare) and type(node.ops[0]) in TURNED:
        yield "comparison turned", _with(node, ops=[TURNED[type(node.ops[0])](), *node.ops[1:]])
    elif isinstance(node, ast.BinOp) and type(node.op) in SWAPPED:
        yield "operator swapped", _with(node, op=SWAPPED[type(node.op)]())
    elif isinstance(node, ast.BoolOp):
        yield "and/or swapped", _with(node, op=ast.Or() if isinstance(node.op, ast.And) else ast.And())
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        yield "not left out", node.operand


def _with(node: ast.AST, **fields: object) -> ast.AST:
    changed = copy.copy(node)
    for name, value in fields.items():
        setattr(changed, name, value)
    return changed


def mutants(room: str) -> list[Mutant]:
    """Every change that can be made in a room."""
    found = []
    for path in sorted((ROOT / "monitor" / room).rglob("*.py")):
        nodes = list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))
        left_out = {id(part) for node in nodes for root in _left_out(node) for part in ast.walk(root)}
        for number, node in enumerate(nodes):
            found += [Mutant(path, number, which) for which, _ in enumerate(changes(node)) if id(node) not in left_out]
    return found


def _left_out(node: ast.AST) -> list[ast.AST]:
    """What no test should hold at a node: type hints, which fail at import, the log, and how a value prints."""
    if isinstance(node, ast.FunctionDef) and node.name in ("__repr__", "__str__"):
        return [node]
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Call) and isinstance(node.value.func, ast.Attribute):
        return [node] if isinstance(node.value.func.value, ast.Name) and node.value.func.value.id in NOTES else []
    hints = (getattr(node, "annotation", None), getattr(node, "returns", None))
    return [hint for hint in hints if hint is not None]


def mutated(mutant: Mutant) -> tuple[str, str, range]:
    """The file's text with one change, where and what that is, and its lines."""
    tree = ast.parse(mutant.path.read_text(encoding="utf-8"))
    wanted = list(ast.walk(tree))[mutant.number]
    what, instead = list(changes(wanted))[mutant.which]

    class Change(ast.NodeTransformer):
        def visit(self, node: ast.AST) -> ast.AST:
            return ast.copy_location(instead, node) if node is wanted else self.generic_visit(node)

    text = ast.unparse(ast.fix_missing_locations(Change().visit(tree)))
    place = wanted.test if isinstance(wanted, ast.If) else wanted
    # A call over several lines counts as reached where any of them is; a lone figure belongs to its statement's lines.
    lines = [
        node for node in ast.walk(tree) if isinstance(node, ast.stmt) and node.lineno <= place.lineno <= (node.end_lineno or 0)
    ]
    first = min((place.lineno, *(node.lineno for node in lines if not hasattr(node, "body"))))
    return text, f"{mutant.path.relative_to(ROOT)}:{place.lineno}\t{what}", range(first, (place.end_lineno or first) + 1)


class Trial:
    """A copy of the tree, and what its tests reach."""

    def __init__(self, tree: Path, room: str, kept: Path) -> None:
        self.tree, self.room, self.kept = tree, room, kept
        shutil.copytree(ROOT, tree, ignore=shutil.ignore_patterns(".git", ".venv", "__pycache__", ".mypy_cache", "node_modules"))
        os.environ["PYTHONPATH"] = str(tree)
        self.files: dict[str, TestFile] = {}

    def measure(self, tests: list[str]) -> None:
        """See which tests reach which lines; what is known from before is not measured again.

        Raises:
            SystemExit: where a test fails with nothing changed.
        """
        paths = [
            path
            for name in tests
            for path in sorted((self.tree / name).rglob("test_*.py") if "." not in name else [self.tree / name])
        ]
        rest = (self.tree / "monitor" / self.room).rglob("*.py")
        common = b"".join(path.read_bytes() for path in sorted(rest))
        for path in paths:
            name = str(path.relative_to(self.tree))
            known = self.kept / f"{self.room}-{hashlib.sha256(common + path.read_bytes()).hexdigest()[:16]}.json"
            if (
                not known.exists()
                and self._apart(lambda name=name, known=known: _reach(self.tree, self.room, name, known), 600.0) != 0
            ):
                raise SystemExit(f"{name} fails as it is: mend that first\n{(self.tree / 'said').read_text()[-3000:]}")
            self.files[name] = TestFile(*json.loads(known.read_text()))

    def verdict(self, mutant: Mutant) -> tuple[str, str]:
        """Whether a test notices, or none gets there, and what was changed."""
        text, what, lines = mutated(mutant)
        tests, took_s = self._that_reach(str(mutant.path.relative_to(ROOT)), lines)
        if not tests:
            return "NOT REACHED", what
        copied = self.tree / mutant.path.relative_to(ROOT)
        before, times = copied.read_bytes(), copied.stat()
        copied.write_text(text, encoding="utf-8")
        code = self._apart(lambda: _run(tests, [_InOrder(tests)]), START_S + SLOWER * took_s)
        copied.write_bytes(before)
        os.utime(copied, ns=(times.st_atime_ns, times.st_mtime_ns))
        return {0: "SURVIVED", None: "hangs"}.get(code, "caught"), what

    def _that_reach(self, source: str, lines: range) -> tuple[list[str], float]:
        """Tests to run, those that reach the lines first and fastest first, and the seconds that they take."""
        first, then = [], []
        for name, file in self.files.items():
            lined = file.reached.get(source, {})
            reaching = {test for line in lines for test in lined.get(str(line), [])}
            if (
                "" in reaching
            ):  # a constant, a default: all that run anything of this file may depend on it, or import it elsewhere
                reaching |= set(file.seconds)
            first += [(file.seconds[test], test) for test in reaching if test in file.seconds]
            if reaching and self._keeps(name):
                then += [(seconds, test) for test, seconds in file.seconds.items() if test not in reaching]
        return [test for _, test in (*sorted(first), *sorted(then))], sum(seconds for seconds, _ in (*first, *then))

    def _keeps(self, name: str) -> bool:
        """Whether tests of a file share what was made once, there or in a module of the tests that it imports."""
        text = (self.tree / name).read_text(encoding="utf-8")
        helpers = [
            self.tree / f"{module.replace('.', '/')}.py" for module in re.findall(r"^from (tests\.\S+) import", text, re.M)
        ]
        texts = [text, *(path.read_text(encoding="utf-8") for path in helpers if path.exists())]
        return any(re.search(r"@(functools\.)?(lru_)?cache|scope=", text) for text in texts)

    def _apart(self, work: Callable[[], int], limit_s: float) -> int | None:
        """What work returns in a fork in the copied tree; None where it takes longer than it may."""

        def run() -> None:
            os.setsid()
            os.chdir(self.tree)
            with (self.tree / "said").open("w") as said:
                os.dup2(said.fileno(), 1)
                os.dup2(said.fileno(), 2)
            sys.path[:] = [str(self.tree), *(path for path in sys.path if path not in ("", str(ROOT)))]
            for name in [name for name in sys.modules if name.partition(".")[0] in ("tests", "monitor", "dashboard")]:
                del sys.modules[name]
            os._exit(work())

        fork = multiprocessing.get_context("fork").Process(target=run)
        fork.start()
        fork.join(limit_s)
        code = fork.exitcode
        with contextlib.suppress(ProcessLookupError):
            os.killpg(fork.pid or 0, signal.SIGKILL)  # with all that its tests have started
        fork.join()
        return code


def _reach(tree: Path, room: str, name: str, known: Path) -> int:
    from coverage import Coverage  # noqa: PLC0415 - needed for this alone

    seconds: dict[str, float] = {}
    seen = Coverage(data_file=None, config_file=False, include=[f"{tree}/monitor/{room}/*"])

    class Contexts:
        def pytest_runtest_logstart(self, nodeid: str) -> None:
            seen.switch_context(nodeid)

        def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
            seconds[report.nodeid] = seconds.get(report.nodeid, 0.0) + report.duration

    seen.start()
    code = _run([name], [Contexts()])
    seen.stop()
    data = seen.get_data()
    reached = {str(Path(path).relative_to(tree)): data.contexts_by_lineno(path) for path in data.measured_files()}
    if code == 0:
        known.write_text(json.dumps([seconds, reached]), encoding="utf-8")
    return code


class _InOrder:
    """Runs only the tests named, in the order named."""

    def __init__(self, tests: list[str]) -> None:
        self.order = {test: number for number, test in enumerate(tests)}

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items[:] = sorted((item for item in items if item.nodeid in self.order), key=lambda item: self.order[item.nodeid])


def _run(tests: list[str], plugins: list[object]) -> int:
    """Pytest's exit code: what is already imported cannot be rewritten, and need not be."""
    sys.dont_write_bytecode = len(tests) > 1 or "::" in tests[0]
    files = list(dict.fromkeys(test.partition("::")[0] for test in tests))
    quiet = ("-q", "-x", "-p", "no:cacheprovider", "-p", "no:xdist", "-W", "ignore::pytest.PytestAssertRewriteWarning")
    return int(pytest.main([*quiet, *files], plugins=plugins))


def main() -> None:
    """Make the mutants, one after the other."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n\n")[0])
    parser.add_argument(
        "room", choices=sorted(path.name for path in (ROOT / "monitor").iterdir() if (path / "__init__.py").exists())
    )
    parser.add_argument("--mutants", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--tests", nargs="*", help="test files or folders to run in place of those of the room")
    parser.add_argument("--again", action="store_true", help="try what survived once more")
    parser.add_argument("--seconds", type=float, default=float("inf"), help="stop after so long")
    parser.add_argument("--out", type=Path, default=Path(tempfile.gettempdir()) / "mutants")
    options = parser.parse_args()
    options.out.mkdir(exist_ok=True)
    every, began_s = mutants(options.room), time.monotonic()
    chosen = random.Random(options.seed).sample(every, min(options.mutants, len(every)))  # noqa: S311 - the same each time
    table = options.out / f"{options.room}-{options.seed}.tsv"
    rows = dict(reversed(line.split("\t", 1)) for line in table.read_text().splitlines()) if table.exists() else {}
    for name in WARM:
        importlib.import_module(name)
    with tempfile.TemporaryDirectory() as name:
        trial = Trial(Path(name) / "tree", options.room, options.out)
        trial.measure(options.tests or [f"tests/{room}" for room in (options.room, *NEIGHBOURS.get(options.room, ()))])
        print(f"measured in {time.monotonic() - began_s:.0f} s", flush=True)
        for mutant in chosen:
            what = mutated(mutant)[1]
            is_done = what in rows and not (options.again and rows[what].isupper())
            if not is_done and time.monotonic() - began_s < options.seconds:
                rows[what], _ = trial.verdict(mutant)
                print(f"{rows[what]}\t{what}", flush=True)
                table.write_text("".join(f"{said}\t{place}\n" for place, said in rows.items()), encoding="utf-8")
    done = [rows[what] for what in (mutated(mutant)[1] for mutant in chosen) if what in rows]
    caught = sum(not said.isupper() for said in done)
    print(f"{options.room}: {caught} of {len(done)} caught of {len(every)} possible, in {time.monotonic() - began_s:.0f} s")


if __name__ == "__main__":
    main()
