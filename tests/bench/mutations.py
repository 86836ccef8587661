"""Do the tests notice? Random operator changes in the arithmetic, one at a time.

`python -m tests.bench.mutations [--count 40] [--seed 1] [--paths checks/engine …]`
copies the program to a temporary folder, changes one operator there (`+` to `-`, `*` to
`/`, `<` to `>=`, `<` to `<=`, `and` to `or`, a sign or a `not` removed), and runs the
tests of the changed module, then those against published values, then those of the
evaluation, until one fails. It prints each change with the tests that noticed it, and
the share noticed. A change that nobody notices is either equivalent (a `<` for a `<=`
at a boundary that no value meets) or a gap in the tests: the list is for reading.

The tests run without the web framework, as in `.ci/run`. Not part of the normal run: it
takes about a minute for each change that goes unnoticed.
"""

import argparse
import ast
import copy
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
COPIED = ("checks", "core", "jobs", "tests", ".ci", "pyproject.toml")
DEFAULT_PATHS = ("checks/engine", "checks/evaluation")
TIMEOUT_S = 900  # a change may loop for ever: then it was noticed

OTHER_OPERATORS: dict[type[ast.AST], tuple[type[ast.AST], ...]] = {
    ast.Add: (ast.Sub,),
    ast.Sub: (ast.Add,),
    ast.Mult: (ast.Div,),
    ast.Div: (ast.Mult,),
    ast.Lt: (ast.GtE, ast.LtE),
    ast.LtE: (ast.Gt, ast.Lt),
    ast.Gt: (ast.LtE, ast.GtE),
    ast.GtE: (ast.Lt, ast.Gt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.And: (ast.Or,),
    ast.Or: (ast.And,),
    ast.BitAnd: (ast.BitOr,),
    ast.BitOr: (ast.BitAnd,),
}


@dataclass(frozen=True, slots=True)
class OperatorChange:
    """One change: the module from the root, the node's number, and which variant."""

    path: Path
    node: int
    variant: int

    def apply(self) -> tuple[str, str]:
        """Return the source of the changed module, and the change in words."""
        tree = ast.parse((ROOT / self.path).read_text(encoding="utf-8"))
        target = _list_nodes(tree)[self.node]
        before = ast.unparse(target)
        changed = list(_change_node(target))[self.variant]
        # The node turns into the other in place, its class included.
        target.__class__ = changed.__class__
        target.__dict__.clear()
        target.__dict__.update(changed.__dict__)
        line = getattr(target, "lineno", 0)
        after = ast.unparse(target)
        return ast.unparse(tree), f"{self.path}:{line}: {before!r} -> {after!r}"


def list_changes(path: Path) -> Iterator[OperatorChange]:
    """List every operator change of one module [path from the root]."""
    tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
    for number, node in enumerate(_list_nodes(tree)):
        for variant, _ in enumerate(_change_node(node)):
            yield OperatorChange(path, number, variant)


def _list_nodes(tree: ast.AST) -> list[ast.AST]:
    """List the nodes in a fixed order, those of annotations left out."""
    notes = _list_annotations(tree)
    return [node for node in ast.walk(tree) if id(node) not in notes]


def _list_annotations(tree: ast.AST) -> set[int]:
    """Return the ids of nodes inside annotations: `int | None` is no arithmetic."""
    found: set[int] = set()
    for node in ast.walk(tree):
        notes = [
            getattr(node, "annotation", None),
            getattr(node, "returns", None),
            # A plain name in capitals or camel case may be a type alias.
            node.value
            if isinstance(node, ast.Assign) and isinstance(node.value, ast.Subscript)
            else None,
        ]
        for note in notes:
            if note is not None:
                found.update(id(each) for each in ast.walk(note))
    return found


def _change_node(node: ast.AST) -> Iterator[ast.AST]:
    """Yield copies of a node with one operator changed."""
    if isinstance(node, ast.BinOp | ast.BoolOp):
        for other in OTHER_OPERATORS.get(type(node.op), ()):
            yield _copy_with(node, op=other())
    elif isinstance(node, ast.Compare) and len(node.ops) == 1:
        for other in OTHER_OPERATORS.get(type(node.ops[0]), ()):
            yield _copy_with(node, ops=[other()])
    elif isinstance(node, ast.UnaryOp) and isinstance(
        node.op, ast.USub | ast.Not | ast.Invert
    ):
        yield copy.deepcopy(node.operand)


def _copy_with(node: ast.AST, **members: object) -> ast.AST:
    changed = copy.deepcopy(node)
    for name, value in members.items():
        setattr(changed, name, value)
    return changed


def list_test_runs(path: Path) -> list[tuple[str, ...]]:
    """List the test paths to run for a changed module, the nearest first."""
    near = Path("tests") / path.parent / f"test_{path.name}"
    folder = Path("tests") / path.parent
    runs: list[tuple[str, ...]] = [(str(near),)] if (ROOT / near).exists() else []
    if path.parent != Path("checks/engine") and (ROOT / folder).exists():
        runs.append((str(folder),))
    runs.append(("tests/published",))
    runs.append(("tests/checks/engine", "tests/checks/evaluation"))
    return runs


def find_noticing_tests(copied: Path, path: Path, source: str) -> str:
    """Return which run noticed the changed source; empty where none did."""
    file = copied / path
    original = file.read_text(encoding="utf-8")
    file.write_text(source, encoding="utf-8")
    try:
        for paths in list_test_runs(path):
            if not _run_tests(copied, paths):
                return " ".join(paths)
        return ""
    finally:
        file.write_text(original, encoding="utf-8")


def _run_tests(copied: Path, paths: tuple[str, ...]) -> bool:
    """Return True where every test of the paths passes."""
    command = [
        *(sys.executable, "-m", "pytest", "-q", "-x"),
        *("-p", "without_django", "-p", "no:django", "--noconftest"),
        *("-c", ".ci/arithmetic.ini", "--rootdir", "."),
        *paths,
    ]
    environment = {"PYTHONPATH": ".ci", "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        done = subprocess.run(
            command,
            cwd=copied,
            env=environment,
            timeout=TIMEOUT_S,
            capture_output=True,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return False
    return done.returncode in (0, 5)  # 5: a folder without tests for this run


def main() -> None:
    """Sample changes, try each, and print what the tests noticed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--paths", nargs="+", default=DEFAULT_PATHS)
    options = parser.parse_args()
    modules = [
        file.relative_to(ROOT)
        for folder in options.paths
        for file in sorted((ROOT / folder).rglob("*.py"))
        if file.name != "__init__.py"
    ]
    changes = [change for path in modules for change in list_changes(path)]
    sample = random.Random(options.seed).sample(  # noqa: S311 - no secret
        changes, min(options.count, len(changes))
    )
    write = sys.stdout.write
    write(f"{len(changes)} possible changes in {len(modules)} modules\n")
    noticed = 0
    with tempfile.TemporaryDirectory() as folder:
        copied = Path(folder)
        for name in COPIED:
            source = ROOT / name
            copy_one = shutil.copytree if source.is_dir() else shutil.copy2
            copy_one(source, copied / name)
        for change in sample:
            changed, words = change.apply()
            tests = find_noticing_tests(copied, change.path, changed)
            noticed += bool(tests)
            write(f"{words}: {f'noticed by {tests}' if tests else 'NOT NOTICED'}\n")
            sys.stdout.flush()
    write(f"{noticed} of {len(sample)} noticed\n")


if __name__ == "__main__":
    main()
