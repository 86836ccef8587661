"""Events are recorded in the transaction of the change."""

from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.utils.timezone import now

from checks.models import Finding, Reading
from checks.services.findings import (
    decide_finding,
    report_work_done,
    request_remeasurement,
)
from checks.services.releases import sign_release
from core.models import Person
from jobs.models import Building
from jobs.notifications.event_text import EventText, describe_event
from jobs.notifications.models import CalendarDate, Event
from jobs.services import revise_plan
from tests.checks.conftest import Measure, as_planned, entry
from tests.checks.views.test_strength_page import MATURITY
from tests.example_buildings import shed

pytestmark = pytest.mark.django_db


def announced(*but: str) -> list[str]:
    """Return what was announced since it was last asked, and forget it."""
    rows = list(Event.objects.order_by("pk").values_list("kind", flat=True))
    Event.objects.all().delete()
    return [kind for kind in rows if kind not in but]


EVERY_TIME = ("reading.stored", "building.evaluated", "stage.changed")


def test_readings_and_what_follows_from_them_are_announced(
    building: Building, measure: Measure, field_lead: Person
) -> None:
    measure(entry("level:S1", "1000 mm"), entry("level:S2", "1006 mm"))
    stored, evaluated, opened, *moved = Event.objects.order_by("pk")
    assert stored.kind == "reading.stored"
    assert (stored.actor, stored.detail) == (field_lead, {"count": 2})
    assert (evaluated.kind, evaluated.actor) == ("building.evaluated", None)
    assert opened.kind == "finding.opened"
    finding = Finding.objects.get()
    assert (opened.subject_kind, opened.subject_id) == ("finding", finding.pk)
    assert describe_event(opened) == EventText("Pad S2", finding.get_absolute_url())
    assert opened.detail == {"finding": "level:S2"}
    assert {row.kind for row in moved} == {"stage.changed"}
    assert moved[0].detail == {"stage": "verification", "state": "held"}


def test_what_changes_nothing_is_not_announced(
    building: Building, measure: Measure
) -> None:
    sent = entry("level:S1", "1000 mm")
    measure(sent)
    announced()
    measure(sent)
    assert announced() == []


def test_a_refused_decision_announces_nothing(
    low_pad: Finding, stranger: Person
) -> None:
    announced()
    with pytest.raises(PermissionDenied):
        decide_finding(actor=stranger, finding=low_pad, choice=0, disposition="rework")
    assert announced() == []


def test_a_decision_is_announced_with_its_order_and_who_made_it(
    low_pad: Finding, engineer: Person
) -> None:
    announced()
    decide_finding(actor=engineer, finding=low_pad, choice=0, disposition="rework")
    row = Event.objects.get(kind="finding.decided")
    assert describe_event(row).description == "Pad S2: shim, rework"
    assert row.detail == {
        "finding": "level:S2",
        "remedy": "shim",
        "disposition": "rework",
    }
    assert row.actor == engineer
    assert announced("stage.changed") == ["finding.decided"]


def test_accepting_announces_that_it_is_closed_as_well(
    low_pad: Finding, engineer: Person
) -> None:
    announced()
    decide_finding(
        actor=engineer,
        finding=low_pad,
        choice="accept",
        disposition="use_as_is",
        note="It carries nothing.",
    )
    kinds = announced("stage.changed")
    assert kinds == ["finding.decided", "finding.closed"]


def test_a_finding_that_later_readings_settle_is_announced_as_closed(
    low_pad: Finding, measure: Measure
) -> None:
    announced()
    measure(entry("level:S2", "1000 mm", supersedes=_last(low_pad)))
    assert announced(*EVERY_TIME) == ["finding.closed"]


def test_a_finding_measured_again_and_still_outside_returns(
    low_pad: Finding, measure: Measure, engineer: Person
) -> None:
    request_remeasurement(actor=engineer, finding=low_pad, note="Once more, please.")
    announced()
    measure(entry("level:S2", "1006 mm", supersedes=_last(low_pad)))
    assert announced(*EVERY_TIME) == ["finding.returned"]


def test_a_decision_whose_readings_changed_returns(
    low_pad: Finding, measure: Measure, engineer: Person
) -> None:
    decide_finding(actor=engineer, finding=low_pad, choice=0, disposition="rework")
    announced()
    measure(entry("level:S2", "1011 mm", supersedes=_last(low_pad)))
    assert announced(*EVERY_TIME) == ["finding.returned"]


def test_work_that_was_verified_is_announced_as_closed(
    low_pad: Finding, measure: Measure, engineer: Person, field_lead: Person
) -> None:
    made = decide_finding(
        actor=engineer, finding=low_pad, choice=0, disposition="rework"
    )
    report_work_done(actor=field_lead, decision=made, at=now(), note="Done.")
    announced()
    later = (now() + timedelta(minutes=1)).isoformat()
    measure(entry("level:S2", "1000 mm", supersedes=_last(low_pad), at=later))
    assert announced(*EVERY_TIME) == ["finding.closed"]


def test_a_release_is_announced_with_its_digest(
    building: Building, measure: Measure, operations: Person
) -> None:
    measure(*as_planned(building, "foundation"))
    announced()
    release = sign_release(actor=operations, building=building, kind="pour")
    row = Event.objects.get(kind="release.signed")
    assert (row.subject_kind, row.subject_id) == ("release", release.pk)
    assert row.detail == {"release": "pour", "digest": release.digest}
    assert (row.actor, describe_event(row).description) == (
        operations,
        "Pour release (foundation)",
    )


def test_a_stage_is_announced_when_it_moves_and_not_when_its_reason_changes(
    building: Building, measure: Measure
) -> None:
    sent = as_planned(building, "foundation")
    measure(sent[0])
    assert "stage.changed" in announced()
    measure(sent[1])
    assert "stage.changed" not in announced()


def test_the_forecast_of_the_gate_stands_in_the_calendars_until_it_is_open(
    building: Building, measure: Measure, operations: Person
) -> None:
    revise_plan(
        actor=operations,
        building=building,
        document=shed(
            concrete={
                "specified_strength": "3500 psi",
                "placed_on": "2026-11-20",
                "maturity": MATURITY,
            }
        ),
        note="Thermometers are in.",
    )
    measure(entry("wall:A-B", "66'"))
    date = CalendarDate.objects.get(kind="strength")
    assert date.building == building
    assert not date.cancelled
    assert date.summary.startswith("Concrete likely strong enough: ")
    assert "A forecast for planning. It never opens the gate" in date.note
    assert date.note.startswith("Earliest ")
    measure(entry("strength:F1", "2900 psi"))
    date.refresh_from_db()
    assert (date.cancelled, date.sequence) == (True, 1)


def _last(finding: Finding) -> str:
    key = finding.checks[0]
    rows = Reading.objects.filter(building=finding.building, check_key=key)
    return rows.current().order_by("-pk")[0].client_id
