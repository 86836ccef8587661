"""Work carried out, and measured again."""

from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.utils.timezone import now

from checks.models import Finding, WorkReport
from checks.services.errors import ConflictError
from checks.services.findings import report_work_done, request_remeasurement
from core.models import Person
from jobs.models import Building
from tests.checks.conftest import Measure, entry
from tests.checks.decided_findings import fresh, kinds, level, old_reading, order

pytestmark = pytest.mark.django_db


# Carried out, and measured again


def test_carried_out_and_measured_within_is_verified(
    low_pad: Finding,
    building: Building,
    engineer: Person,
    field_lead: Person,
    measure: Measure,
) -> None:
    made = order(low_pad, engineer)
    done = now()
    report_work_done(actor=field_lead, decision=made, at=done, note="3 plates")
    assert fresh(low_pad).state == Finding.State.CARRIED_OUT
    later = done + timedelta(minutes=1)
    measure(level("1000.5 mm", old_reading(building), at=later))
    finding = fresh(low_pad)
    assert finding.closed_reason == Finding.ClosedReason.VERIFIED
    assert kinds(finding) == ["opened", "decided", "carried_out", "closed"]


def test_carried_out_and_still_outside_asks_for_another_look(
    low_pad: Finding,
    building: Building,
    engineer: Person,
    field_lead: Person,
    measure: Measure,
) -> None:
    made = order(low_pad, engineer)
    done = now()
    report_work_done(actor=field_lead, decision=made, at=done, note="Done.")
    later = done + timedelta(minutes=1)
    measure(level("1005 mm", old_reading(building), at=later))
    finding = fresh(low_pad)
    assert finding.closed_at is None
    assert finding.flagged_at is not None


def test_a_reading_from_before_the_repair_verifies_nothing(
    low_pad: Finding,
    building: Building,
    engineer: Person,
    field_lead: Person,
    measure: Measure,
) -> None:
    made = order(low_pad, engineer)
    done = now()
    report_work_done(actor=field_lead, decision=made, at=done, note="Done.")
    earlier = done - timedelta(hours=1)
    measure(level("1000.5 mm", old_reading(building), at=earlier))
    assert fresh(low_pad).closed_at is None


def test_readings_that_came_in_before_the_report_still_verify_it(
    low_pad: Finding,
    building: Building,
    engineer: Person,
    field_lead: Person,
    measure: Measure,
) -> None:
    made = order(low_pad, engineer)
    done = now()
    later = done + timedelta(minutes=1)
    measure(level("1006 mm", old_reading(building), at=later - timedelta(hours=1)))
    assert fresh(low_pad).flagged_at is None
    report_work_done(actor=field_lead, decision=made, at=done, note="Done.")
    measure(level("1000.5 mm", old_reading(building), at=later))
    assert fresh(low_pad).closed_reason == Finding.ClosedReason.VERIFIED


def test_work_that_cannot_be_measured_within_is_accepted_by_the_engineer(
    low_pad: Finding, engineer: Person, field_lead: Person
) -> None:
    made = order(low_pad, engineer)
    report_work_done(actor=field_lead, decision=made, at=now(), note="Done.")
    with pytest.raises(ConflictError, match="already"):
        order(fresh(low_pad), engineer)
    order(fresh(low_pad), engineer, choice="accept", disposition="use_as_is")
    assert fresh(low_pad).closed_reason == Finding.ClosedReason.ACCEPTED


@pytest.mark.parametrize("off", [timedelta(hours=-1), timedelta(hours=1)])
def test_carried_out_is_neither_before_the_decision_nor_to_come(
    low_pad: Finding, engineer: Person, field_lead: Person, off: timedelta
) -> None:
    made = order(low_pad, engineer)
    with pytest.raises(ValidationError) as refused:
        report_work_done(actor=field_lead, decision=made, at=now() + off)
    assert "at" in refused.value.error_dict
    assert not WorkReport.objects.exists()


def test_the_engineer_does_not_report_the_work(
    low_pad: Finding, engineer: Person
) -> None:
    made = order(low_pad, engineer)
    with pytest.raises(PermissionDenied):
        report_work_done(actor=engineer, decision=made, at=now())


# Asked again


def test_measured_again_and_still_outside_waits_for_the_engineer(
    low_pad: Finding, building: Building, engineer: Person, measure: Measure
) -> None:
    request_remeasurement(
        actor=engineer, finding=low_pad, note="The rod stood upside down?"
    )
    assert fresh(low_pad).state == Finding.State.REMEASURE
    measure(entry("wall:A-B", "66'"))
    assert fresh(low_pad).state == Finding.State.REMEASURE
    measure(level("1006.5 mm", old_reading(building)))
    assert fresh(low_pad).state == Finding.State.OPEN


def test_asking_again_takes_back_a_decision(
    low_pad: Finding, building: Building, engineer: Person, measure: Measure
) -> None:
    made = order(low_pad, engineer)
    request_remeasurement(actor=engineer, finding=low_pad, note="Once more.")
    with pytest.raises(ConflictError, match="no work to report"):
        report_work_done(actor=building.job.opened_by, decision=made, at=now())
    measure(level("1001 mm", old_reading(building)))
    finding = fresh(low_pad)
    # It was decided once: it closes only when the engineer says so.
    assert finding.closed_at is None
    assert finding.flagged_at is not None


def test_asking_needs_a_reason_and_asks_once(
    low_pad: Finding, engineer: Person, field_lead: Person
) -> None:
    with pytest.raises(ValidationError, match="Write what"):
        request_remeasurement(actor=engineer, finding=low_pad, note=" ")
    with pytest.raises(PermissionDenied):
        request_remeasurement(actor=field_lead, finding=low_pad, note="Why not.")
    request_remeasurement(actor=engineer, finding=low_pad, note="Once more.")
    with pytest.raises(ConflictError, match="already"):
        request_remeasurement(actor=engineer, finding=low_pad, note="Once more.")


def test_a_closed_finding_is_left_alone(
    low_pad: Finding, building: Building, engineer: Person, measure: Measure
) -> None:
    measure(level("1001 mm", old_reading(building)))
    with pytest.raises(ConflictError, match="closed"):
        order(fresh(low_pad), engineer)
    with pytest.raises(ConflictError, match="closed"):
        request_remeasurement(actor=engineer, finding=low_pad, note="Once more.")
