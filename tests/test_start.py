"""Starting the program loads no heavy library."""

import json
import os
import subprocess
import sys
from pathlib import Path

HEAVY = ("scipy", "pint", "ezdxf", "openpyxl", "typst", "jsonschema", "PIL")
STARTED = """
import json, sys
import django
django.setup()
import core.wsgi, core.urls, checks.services.evaluation, checks.evaluation.evaluate
print(json.dumps([name for name in {heavy!r} if name in sys.modules]))
"""


def test_starting_the_program_loads_no_heavy_library():
    done = subprocess.run(
        [sys.executable, "-c", STARTED.format(heavy=HEAVY)],
        cwd=Path(__file__).parents[1],
        env={**os.environ, "DJANGO_SETTINGS_MODULE": "tests.settings"},
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout.splitlines()[-1]) == []


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
    done = subprocess.run(
        [sys.executable, "-c", WORKER.format(heavy=heavy)],
        cwd=Path(__file__).parents[1],
        env={**os.environ, "DJANGO_SETTINGS_MODULE": "tests.settings"},
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    count, loaded = json.loads(done.stdout.splitlines()[-1])
    assert count > 10
    assert loaded == []
