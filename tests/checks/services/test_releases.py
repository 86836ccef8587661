"""Hold points, stages, signatures and digests."""

import copy
from datetime import timedelta
from typing import Any

import pgtrigger
import pytest
from django.core.exceptions import PermissionDenied
from django.db import ProgrammingError, connection
from django.utils.timezone import now

from checks.labels import describe_requirement
from checks.models import Evaluation, Finding, Reading, Release
from checks.queries.releases import read_release_record
from checks.services.concrete import record_concrete
from checks.services.errors import ConflictError, NotReadyError
from checks.services.evaluation import evaluate_building
from checks.services.findings import decide_finding, report_work_done
from checks.services.hold_points import find_missing_requirements
from checks.services.releases import (
    find_verified_release,
    sign_release,
)
from core.models import Person
from jobs import services as jobs
from jobs.exchange.canonical_json import sha256_of
from jobs.models import Building
from tests.checks.conftest import Measure, as_planned, entry
from tests.checks.decided_findings import fresh, index_of, order
from tests.example_buildings import shed

pytestmark = pytest.mark.django_db
KINDS = list(Release.Kind)


def missing(building: Building, kind: str) -> list[str]:
    return [
        describe_requirement(item.code, item.keys, item.detail)
        for item in find_missing_requirements(
            Building.objects.get(pk=building.pk), kind
        )
    ]


def stages(building: Building) -> dict[str, tuple[str, str]]:
    rows = building.stages.all()
    return {row.kind: (row.state, row.blocked_by) for row in rows}


@pytest.fixture
def measured(building: Building, measure: Measure) -> Building:
    """Return the building with everything that ships measured on the plan."""
    assert not measure(*as_planned(building, "foundation", "verification")).refused
    return building


@pytest.fixture
def strong(measured: Building, measure: Measure) -> Building:
    """The same, with concrete that is strong enough."""
    measure(entry("strength:F1", "2900 psi"))  # 0.829 of 3500 psi
    return measured


def test_nothing_measured_holds_every_release(building: Building) -> None:
    for kind in KINDS:
        assert missing(building, kind)
        with pytest.raises(NotReadyError):
            sign_release(actor=building.job.opened_by, building=building, kind=kind)


def test_a_building_on_plan_can_be_poured_and_shipped(measured: Building) -> None:
    assert missing(measured, "pour") == []
    assert missing(measured, "ship") == []


def test_the_ship_release_records_the_steel_as_shipped(
    measured: Building, operations: Person
) -> None:
    before = Evaluation.objects.filter(building=measured).latest("pk")
    release = sign_release(actor=operations, building=measured, kind="ship")
    assert release.record["plan"]["document"]["steel"] == "fabricated"
    measured.refresh_from_db()
    assert measured.steel == "shipped"
    event = measured.steel_state_events.get()
    assert (event.by, event.cause) == (operations, "ship_release")
    after = Evaluation.objects.filter(building=measured).latest("pk")
    assert after.pk > before.pk
    assert measured.evaluation_due_since is None
    assert missing(measured, "ship") == []


def test_no_other_release_says_that_the_steel_left(
    measured: Building, operations: Person
) -> None:
    sign_release(actor=operations, building=measured, kind="pour")
    measured.refresh_from_db()
    assert measured.steel == "fabricated"
    assert not measured.steel_state_events.exists()


def test_the_pour_waits_for_outline_lines_and_rods_but_not_for_levels(
    building: Building, measure: Measure
) -> None:
    entries = as_planned(building, "foundation")
    measure(*entries[1:])
    assert missing(building, "pour") == ["1 check not measured"]
    (item,) = find_missing_requirements(Building.objects.get(pk=building.pk), "pour")
    assert item.keys == (entries[0]["check"],)
    measure(entries[0])
    assert missing(building, "pour") == []
    assert missing(building, "ship") == ["6 checks not measured"]


def test_an_undecided_finding_holds_the_steel_until_it_is_decided(
    measured: Building, measure: Measure, engineer: Person
) -> None:
    old = measure(entry("level:S2", "1000 mm")).stored[0]
    measure(entry("level:S2", "1012 mm", supersedes=old.client_id))
    first = _standing(measured, "level:S2")[0]
    measure(entry("level:S2", "1012 mm", supersedes=first))
    (what,) = missing(measured, "ship")
    assert what == "1 finding needs a decision"
    finding = Finding.objects.get(building=measured, topic="level:S2")
    order(finding, engineer, choice=0, note="Grout.", disposition="rework")
    assert missing(measured, "ship") == []
    assert "1 finding decided, work not done" in missing(measured, "erect")


def _standing(building: Building, check: str) -> list[str]:
    rows = Reading.objects.filter(building=building, check_key=check).current()
    return [row.client_id for row in rows]


def test_what_was_measured_before_the_pour_is_measured_again_as_built(
    measured: Building, measure: Measure, operations: Person
) -> None:
    sign_release(actor=operations, building=measured, kind="pour")
    count = len(as_planned(measured, "foundation"))
    assert missing(measured, "ship") == [
        f"{count} checks not measured again since the pour"
    ]
    later = (now() + timedelta(minutes=1)).isoformat()
    again = [
        {**row, "supersedes": _standing(measured, row["check"])[0], "at": later}
        for row in as_planned(measured, "foundation")
    ]
    assert not measure(*again).refused
    assert missing(measured, "ship") == []


def test_columns_wait_for_the_steel_release_and_for_strength(
    measured: Building, measure: Measure, operations: Person
) -> None:
    assert missing(measured, "erect") == [
        "Ship release (verification) not signed",
        "no field-cured sample tested",
    ]
    measure(entry("strength:F1", "1200 psi", at=_ago(9)))
    assert "strength not met" in missing(measured, "erect")
    measure(entry("strength:F2", "3000 psi", at=_ago(1)))
    sign_release(actor=operations, building=measured, kind="ship")
    assert missing(measured, "erect") == []


def test_a_sample_without_a_specified_strength_asks_for_the_strength(
    measured: Building, measure: Measure, operations: Person
) -> None:
    document = shed()
    del document["concrete"]["specified_strength"]
    jobs.revise_plan(actor=operations, building=measured, document=document, note="")
    assert missing(measured, "erect")[-2:] == [
        "no strength specified on the plan",
        "no field-cured sample tested",
    ]
    measure(entry("strength:F1", "2900 psi"))
    assert missing(measured, "erect")[-1] == "no strength specified on the plan"
    release = sign_release(actor=operations, building=measured, kind="ship")
    assert read_release_record(release).strength_gap.startswith(
        "The plan gives no strength"
    )


def break_before_placing(measured: Building, measure: Measure) -> None:
    """Record a sample, then correct the day of placing to a later one."""
    measure(entry("strength:F1", "3000 psi", at="2026-04-08T08:00:00Z"))
    placing = {"id": "later", "kind": "placing", "placed_on": "2026-04-10"}
    sender = Reading.objects.filter(building=measured)[0].recorded_by
    record_concrete(actor=sender, building=measured, entries=[placing])


def test_a_record_of_before_reasons_were_given_says_what_it_can(
    measured: Building, measure: Measure, operations: Person
) -> None:
    break_before_placing(measured, measure)
    release = sign_release(actor=operations, building=measured, kind="ship")
    assert "dated before 2026-04-10" in read_release_record(release).strength_gap
    del release.record["notice"]["strength"]["reason"]
    assert (
        read_release_record(release).strength_gap == "No field-cured sample was tested."
    )
    del release.record["plan"]["document"]["concrete"]["specified_strength"]
    assert (
        read_release_record(release).strength_gap
        == "No strength is specified on the plan."
    )


def test_the_strength_gate_waits_where_a_sample_cannot_be_believed(
    measured: Building, measure: Measure
) -> None:
    break_before_placing(measured, measure)
    assert "dated before 2026-04-10" in missing(measured, "erect")[-1]
    at = _ago(1)
    measure(entry("strength:F2", "3000 psi", at=at))
    assert missing(measured, "erect") == ["Ship release (verification) not signed"]
    measure(entry("strength:F2", "3600 psi", at=at))
    assert any("companion cylinders" in each for each in missing(measured, "erect"))


def _ago(days: int) -> str:
    return (now() - timedelta(days=days)).isoformat()


def test_no_decision_opens_the_strength_gate(
    measured: Building, measure: Measure, operations: Person, engineer: Person
) -> None:
    measure(entry("strength:F1", "1200 psi"))
    finding = Finding.objects.get(building=measured, topic="strength")
    order(finding, engineer, choice=index_of(finding, "refer"), disposition="repair")
    sign_release(actor=operations, building=measured, kind="ship")
    assert "strength not met" in missing(measured, "erect")


def test_completion_waits_for_columns_measured_plumb(
    strong: Building, measure: Measure, operations: Person
) -> None:
    sign_release(actor=operations, building=strong, kind="ship")
    sign_release(actor=operations, building=strong, kind="erect")
    assert missing(strong, "completion") == ["12 checks not measured"]
    leaning = {"plumb:S1.in": "20 mm"}  # over 4 m; 8 mm is 1/500
    measure(*as_planned(strong, "erection", **leaning))
    assert any("not within" in what for what in missing(strong, "completion"))
    old = _standing(strong, "plumb:S1.in")[0]
    measure(entry("plumb:S1.in", "3 mm", height="4 m", supersedes=old))
    sign_release(actor=operations, building=strong, kind="completion")
    assert {state for state, _ in stages(strong).values()} == {"released"}


def test_a_plan_revision_asks_for_the_steel_release_again(
    strong: Building, operations: Person
) -> None:
    sign_release(actor=operations, building=strong, kind="ship")
    with pytest.raises(ConflictError, match="signed"):
        sign_release(actor=operations, building=strong, kind="ship")
    document = shed(shim_thicknesses=['1/8"'])
    jobs.revise_plan(actor=operations, building=strong, document=document, note="")
    with pytest.raises(NotReadyError, match="not_evaluated"):
        sign_release(actor=operations, building=strong, kind="ship")
    evaluate_building(strong.pk)
    assert missing(strong, "erect") == ["Ship release (verification) not signed"]
    sign_release(actor=operations, building=strong, kind="ship")
    assert missing(strong, "erect") == []


def test_what_was_poured_stays_poured_when_the_plan_is_revised(
    strong: Building, operations: Person
) -> None:
    sign_release(actor=operations, building=strong, kind="pour")
    document = shed(shim_thicknesses=['1/8"'])
    jobs.revise_plan(actor=operations, building=strong, document=document, note="")
    evaluate_building(strong.pk)
    with pytest.raises(ConflictError, match="signed"):
        sign_release(actor=operations, building=strong, kind="pour")


def test_only_operations_signs(
    measured: Building, engineer: Person, field_lead: Person, stranger: Person
) -> None:
    for person in (engineer, field_lead, stranger):
        with pytest.raises(PermissionDenied):
            sign_release(actor=person, building=measured, kind="ship")
    assert not Release.objects.exists()


# The overview


def test_stages_say_where_they_stand_and_what_holds_them(
    building: Building, measure: Measure, operations: Person
) -> None:
    assert stages(building)["foundation"] == ("waiting", "")
    measure(*as_planned(building, "foundation")[:-1])
    assert stages(building)["foundation"] == ("under_way", "1 check not measured")
    measure(as_planned(building, "foundation")[-1])
    assert stages(building)["foundation"] == ("ready", "")
    assert stages(building)["erection"] == ("waiting", "")
    measure(entry("level:S1", "1000 mm"), entry("level:S2", "1006 mm"))
    state, blocked_by = stages(building)["verification"]
    assert state == "held"
    assert blocked_by.startswith("1 finding needs a decision")
    assert "4 checks not measured" in blocked_by


def test_a_signed_steel_release_ends_the_stages_before_it(
    measured: Building, operations: Person
) -> None:
    sign_release(actor=operations, building=measured, kind="ship")
    assert stages(measured)["foundation"] == ("released", "")
    assert stages(measured)["verification"] == ("released", "")
    assert stages(measured)["erection"] == (
        "under_way",
        "no field-cured sample tested",
    )


def test_progress_counts_what_is_required_and_settled(
    building: Building, measure: Measure
) -> None:
    measure(*as_planned(building, "foundation")[:3])
    building.refresh_from_db()
    assert building.settled_checks == 3
    # 2 diagonals, 4 walls, 6 lines, 6 positions x 4 rods x (setback, offset,
    # projection), 6 levels, 12 plumb
    assert building.required_checks == 2 + 4 + 6 + 6 * 4 * 3 + 6 + 12
    assert building.last_reading_at is not None


# The frozen record


def test_a_release_freezes_the_record_and_its_digest_proves_it(
    strong: Building, operations: Person, field_lead: Person
) -> None:
    ship = sign_release(actor=operations, building=strong, kind="ship")
    erect = sign_release(actor=operations, building=strong, kind="erect", note="Go.")
    record = Release.objects.get(pk=erect.pk).record
    assert sha256_of(record) == erect.digest
    assert record["previous"] == [
        {"kind": "ship", "revision": ship.revision_id, "digest": ship.digest}
    ]
    assert record["signed_by"]["username"] == operations.username
    assert record["note"] == "Go."
    assert {row["recorded_by"]["username"] for row in record["readings"]} == {
        field_lead.username
    }
    assert record["notice"]["strength"]["verdict"] == "within"
    assert record["plan"]["document"]["readings"]
    assert find_verified_release(f" {erect.digest.upper()} ") == erect


def test_a_digest_that_was_never_signed_is_nobodys(strong: Building) -> None:
    assert find_verified_release("0" * 64) is None


def test_a_record_changed_behind_the_back_of_the_program_is_found_out(
    strong: Building, operations: Person
) -> None:
    release = sign_release(actor=operations, building=strong, kind="ship")
    forged = copy.deepcopy(release.record)
    forged["readings"][0]["value"] = "1.000000"
    with pgtrigger.ignore("checks.Release:append_only"):
        Release.objects.filter(pk=release.pk).update(record=forged)
    assert find_verified_release(release.digest) is None


@pytest.mark.parametrize(
    "change", ["UPDATE checks_release SET note = 'x'", "DELETE FROM checks_release"]
)
def test_the_database_refuses_to_change_or_delete_a_release(
    strong: Building, operations: Person, change: str
) -> None:
    sign_release(actor=operations, building=strong, kind="ship")
    with connection.cursor() as cursor, pytest.raises(ProgrammingError, match="Cannot"):
        cursor.execute(change)


def test_the_notice_lists_every_rod_that_was_changed(
    strong: Building,
    measure: Measure,
    operations: Person,
    engineer: Person,
    field_lead: Person,
) -> None:
    old = _standing(strong, "setback:S1.1")[0]
    measure(entry("setback:S1.1", "200 mm", supersedes=old))  # 7 in is 177.8 mm
    finding = Finding.objects.get(building=strong, topic="position:S1")
    made = decide_finding(
        actor=engineer,
        finding=finding,
        choice=index_of(finding, "refer"),
        disposition="repair",
        note="Slot hole 1 and weld a plate washer.",
    )
    sign_release(actor=operations, building=strong, kind="ship")
    assert missing(strong, "erect") == ["1 finding decided, work not done"]
    report_work_done(actor=field_lead, decision=made, at=now(), note="Slotted.")
    assert "not measured within or accepted" in missing(strong, "erect")[0]
    order(fresh(finding), engineer, choice="accept", disposition="use_as_is")
    erect = sign_release(actor=operations, building=strong, kind="erect")
    rods: list[dict[str, Any]] = erect.record["notice"]["rods"]
    assert [row["remedy"] for row in rods] == ["refer", "accept"]
    assert rods[0]["order"] == "Slot hole 1 and weld a plate washer."
    assert rods[0]["carried_out"]["by"]["username"] == field_lead.username
    assert rods[0]["engineer"]["username"] == engineer.username
