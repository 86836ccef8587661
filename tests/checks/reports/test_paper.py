"""What the other reports say: status, sheet and shim plan."""

import pytest
from django.utils.timezone import now

from checks.reports.sheet import sheet_pdf
from jobs.models import Building

pytestmark = pytest.mark.django_db


def test_a_sheet_is_a_pdf(building: Building) -> None:
    assert sheet_pdf(building, now()).startswith(b"%PDF-")
