from datetime import date

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction

from core.models import Role
from jobs import services
from jobs.exchange.issues import DocumentError
from jobs.models import Building, Job, Stage
from jobs.plans.plan_cache import load_plan
from tests import example_buildings, factories


def test_whoever_opens_a_job_works_on_it(operations):
    job = factories.job(operations)
    assert job.roles_of(operations) == {Role.OPERATIONS}


def test_an_administrator_opens_a_job_without_a_part_in_it(administrator):
    job = factories.job(administrator)
    assert not job.memberships.exists()
    assert job.roles_of(administrator) == {Role.ADMINISTRATOR}


@pytest.mark.parametrize("who", ["field_lead", "engineer"])
def test_only_operations_open_a_job(who, request):
    with pytest.raises(PermissionDenied):
        factories.job(request.getfixturevalue(who))
    assert not Job.objects.exists()


def test_a_job_number_is_given_once(operations):
    factories.job(operations, number="27-004")
    with pytest.raises(ValidationError) as refused:
        factories.job(operations, number="27-004")
    assert "number" in refused.value.error_dict


def test_a_job_changes_its_ship_date(job, operations):
    services.update_job(
        actor=operations,
        job=job,
        number=job.number,
        name="Another name",
        customer=job.customer,
        site=job.site,
        ship_date=date(2026, 6, 1),
    )
    stored = Job.objects.get()
    assert (stored.name, stored.ship_date) == ("Another name", date(2026, 6, 1))


@pytest.mark.parametrize("who", ["field_lead", "engineer", "stranger"])
def test_nobody_but_its_operations_changes_a_job(who, job, request):
    with pytest.raises(PermissionDenied):
        services.update_job(
            actor=request.getfixturevalue(who),
            job=job,
            number="X",
            name="X",
            customer="X",
            site="X",
            ship_date=None,
        )


def test_a_part_in_a_job_is_given_changed_and_taken_away(job, operations, stranger):
    services.set_membership(
        actor=operations, job=job, person=stranger, role=Role.OPERATIONS
    )
    assert job.roles_of(stranger) == {Role.OPERATIONS}
    services.set_membership(actor=operations, job=job, person=stranger, role=Role.FIELD)
    assert job.roles_of(stranger) == {Role.FIELD}
    services.set_membership(actor=operations, job=job, person=stranger, role=None)
    assert job.roles_of(stranger) == frozenset()


def test_nobody_makes_an_engineer_of_themselves(job, operations, stranger):
    services.set_membership(
        actor=operations, job=job, person=stranger, role=Role.OPERATIONS
    )
    with pytest.raises(ValidationError, match="not engineer"):
        services.set_membership(
            actor=stranger, job=job, person=stranger, role=Role.ENGINEER
        )


def test_a_job_is_not_left_without_an_operations_manager(job, operations):
    with pytest.raises(ValidationError, match="at least one operations manager"):
        services.set_membership(actor=operations, job=job, person=operations, role=None)
    assert job.roles_of(operations) == {Role.OPERATIONS}


@pytest.mark.parametrize("role", [Role.ADMINISTRATOR, "owner", ""])
def test_a_part_that_a_job_does_not_have_is_refused(role, job, operations, stranger):
    with pytest.raises(ValidationError, match="not a role on a job"):
        services.set_membership(actor=operations, job=job, person=stranger, role=role)


def test_a_closed_account_gets_no_part(job, operations, stranger):
    stranger.is_active = False
    stranger.save()
    with pytest.raises(ValidationError, match="is closed"):
        services.set_membership(
            actor=operations, job=job, person=stranger, role=Role.FIELD
        )


def test_a_new_building_has_a_first_revision_and_three_stages(building, operations):
    revision = building.current_revision()
    assert (revision.number, revision.drawn_by) == (1, operations)
    assert list(building.stages.values_list("kind", "state")) == [
        ("foundation", "waiting"),
        ("verification", "waiting"),
        ("erection", "waiting"),
    ]
    assert (
        building.required_checks
        == services.count_required_checks(load_plan(revision))
        > 0
    )


def test_readings_of_a_document_are_not_kept_with_its_plan(job, operations):
    reading = {
        "id": "r1",
        "check": "wall:A-B",
        "value": "66' 0 1/8\"",
        "by": "crew 1",
        "at": "2026-05-04T10:00:00Z",
    }
    measured = example_buildings.shed(readings=[reading])
    revision = factories.building(job, operations, measured).current_revision()
    plain = factories.building(
        factories.job(operations), operations, example_buildings.shed()
    ).current_revision()
    assert "readings" not in revision.document
    assert revision.digest == plain.digest


def test_a_document_that_does_not_fit_leaves_nothing_behind(job, operations):
    with pytest.raises(DocumentError) as refused:
        factories.building(
            job, operations, example_buildings.shed(outline=[], details={})
        )
    assert len(refused.value.issues) >= 2
    assert not Building.objects.exists()


def test_two_buildings_of_a_job_have_two_names(building, operations):
    with pytest.raises(ValidationError, match="already has a building called"):
        factories.building(building.job, operations, example_buildings.shed())


def test_the_field_does_not_draw_plans(job, field_lead):
    with pytest.raises(PermissionDenied):
        factories.building(job, field_lead, example_buildings.shed())


def test_a_revision_is_numbered_signed_and_due_for_evaluation(building, engineer):
    revision = services.revise_plan(
        actor=engineer,
        building=building,
        document=example_buildings.shed(name="Larch yard store"),
        note="sheet A2, second issue",
    )
    building.refresh_from_db()
    assert (revision.number, revision.drawn_by) == (2, engineer)
    assert revision.note == "sheet A2, second issue"
    assert building.current_revision() == revision
    assert building.name == "Larch yard store"
    assert building.evaluation_due_since is not None


def test_a_revision_without_a_change_is_refused(building, operations):
    with pytest.raises(ValidationError, match="identical to revision 1"):
        services.revise_plan(
            actor=operations,
            building=building,
            document=example_buildings.shed(),
            note="",
        )
    assert building.revisions.count() == 1


def test_an_earlier_plan_can_be_put_in_force_again(building, operations):
    for name in ("Larch yard store", "Larch yard shed"):
        services.revise_plan(
            actor=operations,
            building=building,
            document=example_buildings.shed(name=name),
            note="",
        )
    digests = [each.digest for each in building.revisions.order_by("number")]
    assert digests[0] == digests[2] != digests[1]


def test_a_stored_revision_cannot_be_edited(building):
    revision = building.current_revision()
    revision.note = "as I remember it"
    with pytest.raises(Exception, match="Cannot update"), transaction.atomic():
        revision.save()


def test_the_same_document_is_parsed_once(building):
    first, again = building.current_revision(), building.current_revision()
    assert first is not again
    assert load_plan(first) is load_plan(again)


def test_a_stage_says_where_it_stands_and_long_reasons_are_cut(building):
    services.set_stage_state(
        building, Stage.Kind.VERIFICATION, Stage.State.HELD, "level of S1; " * 40
    )
    stage = building.stages.get(kind=Stage.Kind.VERIFICATION)
    assert stage.state == Stage.State.HELD
    assert len(stage.blocked_by) == 200
    assert stage.blocked_by.endswith("…")


def test_a_state_that_no_stage_has_is_refused(building):
    with pytest.raises(ValueError, match="nearly"):
        services.set_stage_state(building, Stage.Kind.VERIFICATION, "nearly")


def _add_shed(job, actor, **members):
    return factories.building(job, actor, example_buildings.shed() | members)


def test_steel_is_fabricated_until_somebody_records_another_state(job, operations):
    shed = _add_shed(job, operations)
    assert shed.steel == "fabricated"
    assert not shed.steel_state_events.exists()
    assert services.set_steel_state(
        actor=operations, building=shed, state="detailing", note="Plates are on hold."
    )
    shed.refresh_from_db()
    event = shed.steel_state_events.get()
    assert (shed.steel, event.state, event.cause) == ("detailing", "detailing", "set")
    assert (event.by, event.note) == (operations, "Plates are on hold.")
    assert shed.evaluation_due_since is not None


def test_the_state_that_is_recorded_already_is_no_event(job, operations):
    shed = _add_shed(job, operations)
    assert not services.set_steel_state(
        actor=operations, building=shed, state="fabricated"
    )
    assert not shed.steel_state_events.exists()


def test_a_building_takes_its_steel_from_the_document_and_a_revision_does_not(
    job, operations
):
    document = example_buildings.shed()
    shed = _add_shed(job, operations, steel="detailing")
    assert shed.steel == "detailing"
    assert shed.steel_state_events.get().cause == "imported"
    assert "steel" not in shed.current_revision().document
    with pytest.raises(ValidationError) as refused:
        services.revise_plan(
            actor=operations,
            building=shed,
            document=document | {"steel": "shipped"},
            note="",
        )
    assert refused.value.code == "identical"
    services.revise_plan(
        actor=operations,
        building=shed,
        document=document | {"steel": "shipped", "name": "Other"},
        note="",
    )
    shed.refresh_from_db()
    assert (shed.name, shed.steel) == ("Other", "detailing")


def test_shipped_steel_is_called_back_only_with_a_reason(job, operations):
    shed = _add_shed(job, operations, steel="shipped")
    with pytest.raises(ValidationError) as refused:
        services.set_steel_state(
            actor=operations, building=shed, state="fabricated", note="  "
        )
    assert "note" in refused.value.error_dict
    shed.refresh_from_db()
    assert shed.steel == "shipped"
    services.set_steel_state(
        actor=operations, building=shed, state="fabricated", note="The truck came back."
    )
    shed.refresh_from_db()
    assert shed.steel == "fabricated"


def test_a_state_that_steel_does_not_have_is_refused(job, operations):
    shed = _add_shed(job, operations)
    with pytest.raises(ValidationError, match="detailing, fabricated, shipped"):
        services.set_steel_state(actor=operations, building=shed, state="painted")


@pytest.mark.parametrize("who", ["field_lead", "engineer", "stranger"])
def test_nobody_but_operations_records_how_far_the_steel_is(
    who, job, operations, request
):
    shed = _add_shed(job, operations)
    with pytest.raises(PermissionDenied):
        services.set_steel_state(
            actor=request.getfixturevalue(who), building=shed, state="shipped"
        )
    shed.refresh_from_db()
    assert shed.steel == "fabricated"
