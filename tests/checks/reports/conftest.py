"""A building with something on every page, and its release."""

import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from django.utils.timezone import now

from checks.models import Finding, Release
from checks.services.findings import report_work_done
from checks.services.releases import sign_release
from core.models import Person
from jobs.models import Building
from tests.checks.conftest import Measure, as_planned, entry
from tests.checks.decided_findings import order

ReadPdf = Callable[[bytes], str]


@pytest.fixture
def decided(
    building: Building, measure: Measure, engineer: Person, field_lead: Person
) -> Building:
    """Measure everything; one rod is out, was decided on and cut off."""
    far = {"setback:S1.1": "210 mm"}
    assert not measure(
        *as_planned(building, "foundation", "verification", **far)
    ).refused
    measure(entry("setback:S1.1", "210 mm"), entry("strength:F1", "2900 psi"))
    finding = Finding.objects.get(building=building, topic="position:S1")
    last = len(finding.remedies) - 1
    made = order(finding, engineer, choice=last, note="Drill ½″ <b>#1</b> $x$.")
    report_work_done(actor=field_lead, decision=made, at=now(), note="Done.")
    return building


@pytest.fixture
def shipped(decided: Building, operations: Person) -> Release:
    """Return the signed ship release of it."""
    return sign_release(
        actor=operations, building=decided, kind="ship", note="Load the frames first."
    )


@pytest.fixture
def text_of(tmp_path: Path) -> ReadPdf:
    """Read a PDF's words, where poppler is installed."""
    if not shutil.which("pdftotext"):
        pytest.skip("no pdftotext here: install the Debian package poppler-utils")

    def read(pdf: bytes) -> str:
        path = tmp_path / "read.pdf"
        path.write_bytes(pdf)
        done = subprocess.run(
            ["pdftotext", "-layout", str(path), "-"],  # noqa: S607
            capture_output=True,
            check=True,
        )
        return done.stdout.decode()

    return read
