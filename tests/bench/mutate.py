"""Do the tests notice? ``python -m tests.bench.mutate ROOM [--mutants N] [--seed N]`` changes one thing of a room at a time.

A mutant is one small change that a slip of the hand could make: a comparison turned or moved by its edge, a sign, a bound that never
binds, a condition that always or never holds, a figure a tenth off, a statement left out. It is caught where a test of the room fails.
Each is printed with its place: read what survives, and name it equivalent or write the test.

The room is copied, so the working tree stays as it is. Mutation analysis after DeMillo, Lipton and Sayward (1978).
"""

import argparse
import ast
import copy
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
ROOMS = (
    "bus",
    "wire",
    "metering",
    "facts",
    "protection",
    "diagnosis",
    "sessions",
    "planning",
    "runtime",
    "layout",
    "link",
    "standing",
    "setup",
)
TURNED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.GtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Lt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
SWAPPED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}  # fmt: skip
NAMES = {"min": "max", "max": "min", "any": "all", "all": "any", "minimum": "maximum", "maximum": "minimum"}
LIMIT_S = 600.0


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


def mutants(room: str) -> list[tuple[Path, int, int]]:
    """Every change that can be made in a room: the file, the node's number in its tree, and the change's."""
    found = []
    for path in sorted((ROOT / "monitor" / room).rglob("*.py")):
        nodes = list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))
        hints = {
            id(part) for node in nodes for hint in _hints(node) for part in ast.walk(hint)
        }  # any change there fails at import
        for number, node in enumerate(nodes):
            found += [(path, number, which) for which, _ in enumerate(changes(node)) if id(node) not in hints]
    return found


def _hints(node: ast.AST) -> list[ast.AST]:
    """Type hints at a node."""
    hints = (getattr(node, "annotation", None), getattr(node, "returns", None))
    return [hint for hint in hints if hint is not None]


def mutated(path: Path, number: int, which: int) -> tuple[str, str]:
    """The file's text with one change, and where and what that is."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    wanted = list(ast.walk(tree))[number]
    what, instead = list(changes(wanted))[which]

    class Change(ast.NodeTransformer):
        def visit(self, node: ast.AST) -> ast.AST:
            return ast.copy_location(instead, node) if node is wanted else self.generic_visit(node)

    text = ast.unparse(ast.fix_missing_locations(Change().visit(tree)))
    return text, f"{path.relative_to(ROOT)}:{getattr(wanted, 'lineno', 0)}: {what}"


def is_caught(tree: Path, tests: list[str]) -> bool:
    """Whether a test of the copy fails; one that hangs counts as failing."""
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", "-p", "no:randomly", *tests]
    try:
        return subprocess.run(command, cwd=tree, capture_output=True, timeout=LIMIT_S, check=False).returncode != 0
    except subprocess.TimeoutExpired:
        return True


def main() -> None:
    """Make the mutants, one after the other."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n\n")[0])
    parser.add_argument("room", choices=ROOMS)
    parser.add_argument("--mutants", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--tests", nargs="*", help="test files to run in place of all of the room")
    options = parser.parse_args()
    every = mutants(options.room)
    chosen = random.Random(options.seed).sample(every, min(options.mutants, len(every)))  # noqa: S311 - which mutants, the same each time
    survivors, began_s = [], time.monotonic()
    with tempfile.TemporaryDirectory() as name:
        tree = Path(name) / "tree"
        shutil.copytree(ROOT, tree, ignore=shutil.ignore_patterns(".git", ".venv", "__pycache__", ".mypy_cache"))
        # Facts are checked by what the diagnosis makes of them as well.
        tests = options.tests or [f"tests/{options.room}", *(["tests/diagnosis"] if options.room == "facts" else [])]
        if is_caught(tree, tests):
            raise SystemExit("the tests fail as it is: mend that first")
        for path, number, which in chosen:
            copied = tree / path.relative_to(ROOT)
            before = copied.read_text(encoding="utf-8")
            text, where = mutated(path, number, which)
            copied.write_text(text, encoding="utf-8")
            mirror = f"tests/{options.room}/test_{path.stem}.py"  # the likeliest to fail, so first
            caught = is_caught(tree, [mirror, *tests] if (tree / mirror).exists() else tests)
            survivors += [] if caught else [where]
            print("caught  " if caught else "SURVIVED", where, flush=True)
            copied.write_text(before, encoding="utf-8")
    n_caught = len(chosen) - len(survivors)
    took_s = time.monotonic() - began_s
    print(
        f"{options.room}: {n_caught} of {len(chosen)} caught ({n_caught / len(chosen):.0%}) of {len(every)} possible, in {took_s:.0f} s"
    )


def _with(node: ast.AST, **fields: object) -> ast.AST:
    changed = copy.copy(node)
    for name, value in fields.items():
        setattr(changed, name, value)
    return changed


if __name__ == "__main__":
    main()
