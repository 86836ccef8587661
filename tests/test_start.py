"""Starting the program loads no heavy library."""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

HEAVY = ("scipy", "pint", "ezdxf", "openpyxl", "typst", "jsonschema", "PIL")
STARTED = """
import json, sys
import django
django.setup()
import core.wsgi, core.urls, checks.services.evaluation, checks.evaluation.evaluate
print(json.dumps([name for name in {heavy!r} if name in sys.modules]))
"""


def run_program(source: str) -> Any:
    """Run a program in a process of its own; return the JSON of its last line."""
    done = subprocess.run(
        [sys.executable, "-c", source],
        cwd=Path(__file__).parents[1],
        env={**os.environ, "DJANGO_SETTINGS_MODULE": "tests.settings"},
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout.splitlines()[-1])


def test_starting_the_program_loads_no_heavy_library():
    assert run_program(STARTED.format(heavy=HEAVY)) == []


WORKER = """
import json, sys
from core.celery import app
app.loader.import_default_modules()
app.finalize()
names = [name for name in app.tasks if not name.startswith("celery.")]
print(json.dumps([len(names), sorted({heavy!r} & set(sys.modules))]))
"""


def test_a_worker_starts_without_the_arithmetic_and_the_pages():
    heavy = {*HEAVY, "numpy", "core.urls", "checks.services.evaluation"}
    count, loaded = run_program(WORKER.format(heavy=heavy))
    assert count > 10
    assert loaded == []
