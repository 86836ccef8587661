"""The demo contains what it promises, all of it recorded through the services."""

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
from django.contrib.auth import authenticate
from django.db import transaction
from django.test import RequestFactory
from django.utils import timezone

from checks.demo import SIGN_INS, load
from checks.demo.loader import DatabaseNotEmptyError, LoadedDemo
from checks.demo.mistakes import MISTAKES
from checks.evaluation.plan_review import review_plan
from checks.models import (
    Decision,
    Evaluation,
    Finding,
    Photograph,
    Reading,
    Release,
)
from checks.queries.audit_log.query import load_page
from checks.queries.audit_log.rows import AuditLogFilter, AuditLogKind
from checks.services.file_store import load_file
from checks.services.releases import find_verified_release
from core.models import Person, Role
from jobs.accounts.models import Invitation
from jobs.anchor_plan.geometry import outline_points
from jobs.models import Building, Job, Stage
from jobs.plans.plan_cache import load_plan
from tests.checks.demo.situations import SITUATIONS, Situation

pytestmark = pytest.mark.django_db

WEEK = timedelta(days=7)


@pytest.fixture(scope="module")
def loaded(django_db_setup: None, django_db_blocker) -> Iterator[LoadedDemo]:
    """Load once for all tests here, and leave nothing behind."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield load()
        transaction.set_rollback(True)


@pytest.fixture(scope="module")
def stages(loaded: LoadedDemo) -> Counter[tuple[str, str]]:
    return Counter(Stage.objects.values_list("kind", "state"))


def plans() -> list:
    return [load_plan(b.current_revision()) for b in Building.objects.all()]


def test_there_are_enough_jobs_and_buildings(loaded: LoadedDemo):
    assert Job.objects.count() == loaded.jobs >= 30
    assert Building.objects.count() == loaded.buildings >= 36


def test_every_role_has_an_account_that_can_sign_in(loaded: LoadedDemo):
    assert {p.role for p in Person.objects.all()} == set(Role.values)
    request = RequestFactory().post("/sign-in/")
    for username, password, _ in SIGN_INS:
        assert authenticate(request, username=username, password=password)


@pytest.mark.parametrize(
    ("kind", "state"),
    [
        ("foundation", "waiting"),
        ("foundation", "under_way"),
        ("foundation", "held"),
        ("foundation", "released"),
        ("verification", "waiting"),
        ("verification", "held"),
        ("verification", "ready"),
        ("verification", "released"),
        ("erection", "waiting"),
        ("erection", "under_way"),
        ("erection", "released"),
    ],
)
def test_stages_of_every_kind_and_state_exist(
    stages: Counter[tuple[str, str]], kind: str, state: str
):
    assert stages[kind, state] >= 1


def test_one_invitation_is_accepted_and_one_is_open(loaded: LoadedDemo):
    used = Invitation.objects.get(accepted_by__isnull=False)
    assert used.accepted_by is not None
    assert used.jobs.get().roles_of(used.accepted_by) == {Role.FIELD}
    assert Invitation.objects.open().get() != used


@pytest.mark.parametrize("kind", AuditLogKind)
def test_the_audit_logs_contain_most_kinds(loaded: LoadedDemo, kind: AuditLogKind):
    told = [
        load_page(job, AuditLogFilter(kind=kind), None) for job in Job.objects.all()
    ]
    shown = any(page.entries for page in told)
    # Nobody signs in while it is loaded, and an instrument comes with its plan.
    assert shown is (kind not in (AuditLogKind.SIGN_INS, AuditLogKind.INSTRUMENTS))


@pytest.mark.parametrize("kind", Release.Kind.values())
def test_releases_of_every_kind_are_signed(loaded: LoadedDemo, kind: str):
    assert Release.objects.filter(kind=kind).exists()


def test_every_release_is_verifiable(loaded: LoadedDemo):
    for release in Release.objects.all():
        assert find_verified_release(release.digest) == release


@pytest.mark.parametrize("cause", sorted({each.cause for each in MISTAKES}))
def test_each_likely_cause_has_an_open_finding(loaded: LoadedDemo, cause: str):
    assert Finding.objects.open().filter(likely_cause__cause=cause).exists()


@pytest.mark.parametrize("state", ["open", "decided", "closed"])
def test_findings_of_every_state_exist(loaded: LoadedDemo, state: str):
    assert Finding.objects.filter(state=state).exists()


def test_findings_were_closed_in_every_way_but_by_a_revision(loaded: LoadedDemo):
    ways = set(
        Finding.objects.exclude(closed_reason="").values_list(
            "closed_reason", flat=True
        )
    )
    assert ways >= {"within", "verified", "accepted"}


def test_plans_have_every_unit_basis_and_size(loaded: LoadedDemo):
    every = plans()
    assert {plan.length_unit for plan in every} >= {"in", "mm"}
    assert {plan.tolerances.basis for plan in every} >= {
        "metal-building-practice",
        "aisc-303-2010",
        "aisc-303-2016",
        "en-1090-2-2008",
        "aci-117-2010",
    }
    assert any(len(plan.outline) == 6 for plan in every)
    sizes = [len(plan.positions) for plan in every]
    assert min(sizes) <= 6
    assert max(sizes) == 60
    big = every[sizes.index(60)]
    rods = sum(len(big.details[p.detail].rods) for p in big.positions)
    assert rods == 240


def test_one_outline_has_no_right_angle(loaded: LoadedDemo):
    skewed = 0
    for plan in plans():
        points = outline_points(plan)
        sides = [b - a for a, b in zip(points, [*points[1:], points[0]], strict=True)]
        dots = [
            abs(float(a @ b))
            for a, b in zip(sides, [*sides[1:], sides[0]], strict=True)
        ]
        skewed += min(dots) > 1.0
    assert skewed == 1


def test_some_plans_were_revised(loaded: LoadedDemo):
    revised = [b for b in Building.objects.all() if b.revisions.count() > 1]
    assert len(revised) >= 2


def test_corrections_supersede_and_repeats_disagree(loaded: LoadedDemo):
    assert Reading.objects.exclude(supersedes=None).exists()
    result = Evaluation.objects.filter(
        building__name="Cold store", building__evaluation_due_since=None
    ).latest("pk")
    verdicts = {row["verdict"] for row in result.result["checks"]}
    assert "remeasure" in verdicts


def test_everything_is_evaluated_and_nothing_is_in_the_future(loaded: LoadedDemo):
    assert not Building.objects.exclude(evaluation_due_since=None).exists()
    now = timezone.now()
    assert not Reading.objects.filter(taken_at__gt=now).exists()
    assert not Decision.objects.filter(made_at__gt=now).exists()
    assert not Release.objects.filter(signed_at__gt=now).exists()


def test_nobody_decided_on_their_own_readings(loaded: LoadedDemo):
    for decision in Decision.objects.select_related("finding"):
        took = Reading.objects.filter(
            building=decision.finding.building,
            check_key__in=decision.finding.checks,
            recorded_by=decision.engineer,
        )
        assert not took.exists()


def test_something_can_ship_this_week_and_something_cannot(loaded: LoadedDemo):
    today = timezone.localdate()
    soon = Building.objects.filter(job__ship_date__range=(today, today + WEEK))
    states = Counter(
        Stage.objects.filter(building__in=soon, kind="verification").values_list(
            "state", flat=True
        )
    )
    assert states["ready"] + states["released"] >= 3
    assert states["held"] >= 3


def test_a_second_load_is_refused_with_the_reason(loaded: LoadedDemo):
    with pytest.raises(DatabaseNotEmptyError, match="people and jobs and buildings"):
        load()


def test_the_time_is_the_true_one_again(loaded: LoadedDemo):
    from checks.services import findings

    for told in (timezone.now(), findings.now()):
        assert abs(told - datetime.now(UTC)) < timedelta(seconds=5)


@pytest.mark.parametrize("situation", SITUATIONS, ids=lambda each: each.name)
def test_every_situation_is_where_it_was(loaded: LoadedDemo, situation: Situation):
    building = Building.objects.get(name=situation.building, job__number=situation.job)
    evaluations = Evaluation.objects.filter(building=building)
    latest = evaluations.order_by("pk").last()
    # Nothing is evaluated before something was measured: the plan alone is reviewed.
    warnings = review_plan(load_plan(building.current_revision()))
    plan_only = {"plan_warnings": [each._asdict() for each in warnings]}
    assert situation.shows(plan_only if latest is None else latest.result)


def test_a_reading_is_withdrawn_with_its_reason(loaded: LoadedDemo):
    reading = Reading.objects.get(entry__has_key="withdrawn")
    assert (reading.building.name, reading.check_key) == ("Cold store", "wall:NE-NW")
    assert "stake" in reading.entry["withdrawn"]


def test_a_new_plate_is_first_where_the_steel_is_being_detailed(loaded: LoadedDemo):
    finding = Finding.objects.get(building__name="Changing rooms", topic="position:A2")
    assert finding.remedies[0]["remedy"] == "new_plate"


def test_work_and_checks_have_photographs(loaded: LoadedDemo):
    taken = list(Photograph.objects.all())
    assert {row.work_report is not None for row in taken} == {True, False}
    assert all(row.caption and load_file(row.digest) for row in taken)
    assert Release.objects.filter(
        record__findings__contains=[
            {"decisions": [{"carried_out": {"photographs": [{}]}}]}
        ]
    ).exists()
