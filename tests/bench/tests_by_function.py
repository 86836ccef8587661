"""A pytest plugin: which tests run which functions, and a choice of tests by that.

With `RECORD_TO` in the environment the run writes there, for every test that passed,
its processor time and the functions of `checks` that it called. With `TESTS_FROM` it
runs the tests that the file names, in the order of the file.
"""

import json
import os
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from types import FrameType

import pytest

WATCHED = str(Path.cwd() / "checks") + os.sep

seconds: dict[str, float] = {}
functions: dict[str, list[str]] = {}
failures: set[str] = set()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Iterator[None]:
    """Note each function of `checks` that runs while the test does."""
    if "RECORD_TO" not in os.environ:
        return (yield)
    codes = set()

    def note_call(frame: FrameType, _event: str, _argument: object) -> None:
        codes.add(frame.f_code)

    start = time.process_time()
    sys.settrace(note_call)
    try:
        return (yield)
    finally:
        sys.settrace(None)
        seconds[item.nodeid] = time.process_time() - start
        functions[item.nodeid] = sorted(
            {
                f"{Path(code.co_filename).relative_to(Path.cwd())}:"
                f"{code.co_qualname.partition('.<locals>')[0]}"
                for code in codes
                if code.co_filename.startswith(WATCHED)
            }
        )


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Note the tests that fail without any change."""
    if not report.passed:
        failures.add(report.nodeid)


def pytest_sessionfinish() -> None:
    """Write the record."""
    if "RECORD_TO" in os.environ:
        record = {
            name: {"seconds": seconds[name], "functions": functions[name]}
            for name in seconds
            if name not in failures
        }
        Path(os.environ["RECORD_TO"]).write_text(json.dumps(record), encoding="utf-8")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Keep the tests that the file names, in its order."""
    if "TESTS_FROM" in os.environ:
        named = json.loads(Path(os.environ["TESTS_FROM"]).read_text(encoding="utf-8"))
        order = {name: number for number, name in enumerate(named)}
        items[:] = sorted(
            (item for item in items if item.nodeid in order),
            key=lambda item: order[item.nodeid],
        )
