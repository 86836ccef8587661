"""Do the tests notice? Random operator changes in the arithmetic, one at a time.

`python -m tests.bench.mutations [--count 40] [--seed 1] [--paths checks/engine …]`
copies the program to a folder of its own, runs the tests of the arithmetic there once
to see which test calls which function, then changes one operator at a time (`+` to `-`,
`*` to `/`, `<` to `>=`, `<` to `<=`, `and` to `or`, a sign or a `not` removed) and runs
the tests that call the changed function, the quick ones first, until one fails. It
prints each change with the test that noticed it or, where none did, its diff; at the
end the share noticed. A change that nobody notices is either equivalent (a `<` for a
`<=` at a boundary that no value meets) or a gap in the tests: the list is for reading.

The folder stays: the same command goes on where it stopped, with the program as it was
when the folder was made. `--folder` names another, `--list` shows without running what
was found, `--try-again` runs those again that went unnoticed. The tests run without the
web framework, as in `.ci/run`, at low priority. Not part of the normal run.
"""

import argparse
import compileall
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from py_compile import PycInvalidationMode

from tests.bench.operator_changes import OperatorChange, list_changes

ROOT = Path(__file__).parents[2]
COPIED = ("checks", "core", "jobs", "tests", ".ci", "pyproject.toml")
DEFAULT_PATHS = ("checks/engine", "checks/evaluation")
TESTS = ("tests/checks/engine", "tests/checks/evaluation", "tests/published")
MARGIN_S = 120.0
SLOWER = 5  # a change may loop for ever: a run this many times as long has noticed it
PRIORITY = 10  # `nice` of the runs


class TestBed:
    """A copy of the program in which operators are changed and tests run.

    Parameters
    ----------
    folder
        Holds the copy, the record of which test calls which function, and the results.
        Made where it is not there.
    """

    def __init__(self, folder: Path) -> None:
        self.root = folder / "program"
        self.results_file = folder / "results.json"
        self._record_file = folder / "tests.json"
        self._chosen_file = folder / "chosen.json"
        self._original_file = folder / "original.json"
        self._restore()
        if not self._record_file.exists():
            self._copy_program()
            self._run(TESTS, {"RECORD_TO": str(self._record_file)})
        text = self._record_file.read_text(encoding="utf-8")
        self.record = json.loads(text)

    def find_noticing_test(self, change: OperatorChange) -> str | None:
        """Return the first test that fails with the change; None where none does."""
        tests = self._list_tests(change)
        if not tests:
            return None
        self._chosen_file.write_text(json.dumps(tests), encoding="utf-8")
        longest = MARGIN_S + SLOWER * sum(
            self.record[each]["seconds"] for each in tests
        )
        file = self.root / change.path
        changed = change.apply(self.root)
        # Kept outside the process: one that is killed leaves a changed program behind.
        original = {"path": str(change.path), "source": file.read_text("utf-8")}
        self._original_file.write_text(json.dumps(original), encoding="utf-8")
        try:
            file.write_text(changed, encoding="utf-8")
            return self._run(
                sorted({each.partition("::")[0] for each in tests}),
                {"TESTS_FROM": str(self._chosen_file)},
                timeout_s=longest,
            )
        finally:
            self._restore()

    def _restore(self) -> None:
        """Undo the change that was tried last, also by a process that was killed."""
        if self._original_file.exists():
            original = json.loads(self._original_file.read_text(encoding="utf-8"))
            file = self.root / original["path"]
            file.write_text(original["source"], encoding="utf-8")
            self._original_file.unlink()

    def _list_tests(self, change: OperatorChange) -> list[str]:
        """List the tests that call the changed function, the quick ones first.

        A change outside functions is met by whoever calls a function of the module.
        """
        function = change.find_function(self.root)
        name = f"{change.path}:{function or ''}"
        called = [
            test
            for test, entry in self.record.items()
            if any(
                each == name or (function is None and each.startswith(name))
                for each in entry["functions"]
            )
        ]
        return sorted(called, key=lambda test: float(self.record[test]["seconds"]))

    def _copy_program(self) -> None:
        shutil.rmtree(self.root, ignore_errors=True)
        self.root.mkdir(parents=True)
        skip = shutil.ignore_patterns("__pycache__", "node_modules")
        for name in COPIED:
            source = ROOT / name
            if source.is_dir():
                shutil.copytree(source, self.root / name, ignore=skip)
            else:
                shutil.copy2(source, self.root / name)
        # Compiled by content, so that a changed file is never mistaken for the other.
        compileall.compile_dir(
            self.root, quiet=2, invalidation_mode=PycInvalidationMode.CHECKED_HASH
        )

    def _run(
        self,
        paths: tuple[str, ...] | list[str],
        environment: dict[str, str],
        timeout_s: float | None = None,
    ) -> str | None:
        """Run tests in the copy; return the first that failed, in words."""
        command = [
            *(sys.executable, "-m", "pytest", "-q", "--tb=no", "-rfE"),
            *(() if "RECORD_TO" in environment else ("-x",)),
            *("-p", "without_django", "-p", "no:django", "--noconftest"),
            *("-p", "tests.bench.tests_by_function"),
            *("-c", ".ci/arithmetic.ini", "--rootdir", ".", *paths),
        ]
        try:
            done = subprocess.run(
                command,
                cwd=self.root,
                env={
                    "PYTHONPATH": ".ci",
                    "PYTHONDONTWRITEBYTECODE": "1",
                    "OMP_NUM_THREADS": "1",
                    **environment,
                },
                timeout=timeout_s,
                capture_output=True,
                text=True,
                check=False,
            )
        except subprocess.TimeoutExpired:
            return "a run that does not end"
        if done.returncode in (0, 5):  # 5: no test in these files is among the chosen
            return None
        failures = [
            line.partition(" ")[2].partition(" - ")[0]
            for line in done.stdout.splitlines()
            if line.startswith(("FAILED ", "ERROR "))
        ]
        return failures[0] if failures else "a run that does not start"


def sample_changes(
    root: Path, paths: list[str], count: int, seed: int
) -> tuple[list[OperatorChange], int]:
    """Draw changes of the modules below some paths; return them and how many there are.

    A longer sample of the same seed begins with the shorter one.
    """
    modules = [
        file.relative_to(root)
        for path in paths
        for file in sorted(
            [root / path] if path.endswith(".py") else (root / path).rglob("*.py")
        )
        if file.name != "__init__.py"
    ]
    changes = [change for path in modules for change in list_changes(root, path)]
    random.Random(seed).shuffle(changes)  # noqa: S311 - no secret
    return changes[:count], len(changes)


def main() -> None:
    """Sample changes, try each, and print what the tests noticed."""
    options = _read_options()
    os.nice(PRIORITY)
    bed = TestBed(options.folder)
    sample, total = sample_changes(bed.root, options.paths, options.count, options.seed)
    results: dict[str, str | None] = {}
    if bed.results_file.exists():
        results = json.loads(bed.results_file.read_text(encoding="utf-8"))
    write = sys.stdout.write
    write(f"{len(sample)} of {total} possible changes; results in {options.folder}\n")
    for number, change in enumerate(sample, start=1):
        known = change.key in results
        if not known and options.list:
            continue
        if not known or (options.try_again and results[change.key] is None):
            results[change.key] = bed.find_noticing_test(change)
            bed.results_file.write_text(json.dumps(results, indent=1), encoding="utf-8")
        test = results[change.key]
        if test is None:
            write(f"{number} NOT NOTICED {change.path}\n{change.describe(bed.root)}\n")
        else:
            write(f"{number} {change.key} noticed by {test}\n")
        sys.stdout.flush()
    tried = [results[each.key] for each in sample if each.key in results]
    noticed = sum(test is not None for test in tried)
    write(f"{noticed} of {len(tried)} noticed\n")


def _read_options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--paths", nargs="+", default=DEFAULT_PATHS)
    parser.add_argument("--list", action="store_true")
    parser.add_argument("--try-again", action="store_true")
    parser.add_argument(
        "--folder", type=Path, default=Path(tempfile.gettempdir()) / "operator-changes"
    )
    return parser.parse_args()


if __name__ == "__main__":
    main()
