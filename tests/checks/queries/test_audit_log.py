"""The trail of a job: all that was done, by whom, to whom it is shown."""

import csv
import io
from datetime import timedelta
from typing import Any

import pgtrigger
import pytest
from django.apps import apps
from django.test import Client
from django.urls import reverse
from django.utils.timezone import localdate, now

from checks.models import Decision, Finding, Reading, Release, WorkReport
from checks.queries.audit_log import query as trail_queries
from checks.queries.audit_log.query import AuditLogEntry, iterate_entries, load_page
from checks.queries.audit_log.rows import AuditLogCursor, AuditLogFilter, AuditLogKind
from checks.queries.audit_log.sources import SOURCES
from checks.services.findings import report_work_done, request_remeasurement
from checks.services.instruments import add_instrument
from checks.services.releases import sign_release
from core.models import Person, Role
from jobs.accounts.invitations import (
    accept_invitation,
    create_invitation,
    revoke_invitation,
)
from jobs.accounts.services import close_account, reopen_account
from jobs.models import Building, Job
from jobs.services import revise_plan, set_membership
from tests import factories
from tests.checks.conftest import Measure, as_planned, entry
from tests.checks.queries.audit_log_pages import ALL, rows_of, signed_in, words_of
from tests.checks.services.test_finding_lifecycle import order
from tests.example_buildings import shed
from tests.factories import PASSWORD

pytestmark = pytest.mark.django_db


def older(job: Job, days: int) -> None:
    """Date readings back; nothing in the program can."""
    with pgtrigger.ignore("checks.Reading:append_only"):
        Reading.objects.update(recorded_at=now() - timedelta(days=days))


@pytest.fixture
def shipped(building: Building, measure: Measure, operations: Person) -> Release:
    measure(*as_planned(building, "foundation", "verification"))
    return sign_release(actor=operations, building=building, kind="ship")


# What it tells


def test_every_step_of_a_finding_is_told(
    job: Job, low_pad: Finding, engineer: Person, field_lead: Person
) -> None:
    decision = order(low_pad, engineer)
    report_work_done(actor=field_lead, decision=decision, at=now(), note="Done.")
    told_of = words_of(job)
    assert ("System", "Pad S2: opened") in told_of
    assert ("Emery", "Pad S2: decided") in told_of
    assert ("Fern", "Pad S2: work done") in told_of


def test_plans_instruments_and_releases_are_told(
    job: Job, shipped: Release, operations: Person, engineer: Person, field_lead: Person
) -> None:
    tape = {"kind": "steel tape", "class": "II"}
    add_instrument(actor=field_lead, job=job, name="tape 7", specification=tape)
    revise_plan(
        actor=engineer,
        building=shipped.building,
        document=shed(shim_thicknesses=['1/8"']),
        note="Thinner shims.",
    )
    told_of = words_of(job)
    assert ("Olive", "Building added with its plan") in told_of
    assert ("Olive", "Ship release (verification) signed") in told_of
    assert ("Fern", "Instrument tape 7 added") in told_of
    assert ("Emery", "Plan revision 2 issued") in told_of
    assert rows_of(job, AuditLogFilter(kind="plans"))[0].note == "Thinner shims."


def test_readings_of_a_minute_are_one_row(
    job: Job, building: Building, measure: Measure, engineer: Person
) -> None:
    measure(
        entry("level:S1", "1 m"), entry("level:S2", "1 m"), entry("wall:A-B", "66 ft")
    )
    older(job, 1)
    measure(entry("level:S1", "1.001 m"))
    (new, old) = rows_of(job, AuditLogFilter(kind="readings"))
    assert new.text == "1 reading recorded: level"
    assert old.text == "3 readings recorded: level, wall"
    assert (new.actor_name, new.building) == ("Fern", building)


def test_who_works_on_the_job_is_told(
    job: Job, operations: Person, stranger: Person, administrator: Person
) -> None:
    set_membership(actor=operations, job=job, person=stranger, role=Role.FIELD)
    set_membership(actor=operations, job=job, person=stranger, role=None)
    first = create_invitation(
        actor=operations, address="a@example.org", role="field", jobs=[job]
    )
    revoke_invitation(actor=operations, invitation=first)
    taken = create_invitation(
        actor=operations, address="b@example.org", role="field", jobs=[job]
    )
    accept_invitation(
        invitation=taken,
        username="bo",
        first_name="Bo",
        last_name="Reed",
        password=PASSWORD,
    )
    close_account(actor=administrator, person=stranger)
    told_of = words_of(job, AuditLogFilter(kind="people"))
    assert told_of[0] == ("Olive", "Job created")
    for each in [
        ("Olive", "Fern added to the job as field lead"),
        ("Olive", "Sorrel added to the job as field lead"),
        ("Olive", "Sorrel removed from the job"),
        ("Olive", "a@example.org invited as field lead"),
        ("Olive", "Invitation of a@example.org revoked"),
        ("Bo Reed", "Invitation of b@example.org accepted"),
        ("Olive", "Bo Reed added to the job as field lead"),
        ("Addie", "Sorrel: account closed"),
    ]:
        assert each in told_of


def test_sign_ins_of_its_people_are_told_and_nobody_elses(
    job: Job, field_lead: Person, stranger: Person
) -> None:
    for person in (field_lead, stranger):
        client = Client(headers={"user-agent": "Android Firefox/131.0"})
        entered = {"username": person.username, "password": PASSWORD}
        client.post(reverse("sign-in"), entered)
    signed = words_of(job, AuditLogFilter(kind="sign-ins"))
    assert signed == [("Fern", "Signed in: Firefox on Android")]


def test_another_jobs_record_is_not_in_it(
    job: Job, building: Building, stranger: Person
) -> None:
    elsewhere = factories.job(stranger)
    factories.building(elsewhere, stranger, shed(name="Elsewhere"))
    assert {who for who, _ in words_of(job)} == {"Olive"}
    assert {who for who, _ in words_of(elsewhere)} == {"Sorrel"}


def test_every_record_that_names_a_person_is_told(job: Job) -> None:
    kept = {
        model
        for model in apps.get_models()
        if any(
            each.name == "append_only" for each in getattr(model._meta, "triggers", ())
        )
        and any(field.related_model is Person for field in model._meta.get_fields())
    }
    told_of = {source.rows(job).model for source in SOURCES}
    by_their_events = {Decision, WorkReport}
    assert kept - told_of == by_their_events
    assert len(kept) > 8


# As asked


@pytest.fixture
def busy(
    job: Job, building: Building, low_pad: Finding, operations: Person, engineer: Person
) -> Job:
    """Return a job with two buildings, and something of most kinds."""
    factories.building(job, operations, shed(name="Second shed"))
    order(low_pad, engineer)
    for person in (operations, engineer):
        client = signed_in(person)
        for each in job.buildings.all():
            client.get(each.get_absolute_url())
    return job


def test_a_person_is_asked_for(busy: Job, engineer: Person) -> None:
    found = rows_of(busy, AuditLogFilter(person=engineer.pk))
    assert {row.actor_name for row in found} == {"Emery"}
    assert {row.kind for row in found} == {"opened", "decisions", "sign-ins"}


def test_a_building_is_asked_for(busy: Job, building: Building) -> None:
    found = rows_of(busy, AuditLogFilter(building=building.pk))
    assert {row.building for row in found} == {building}
    assert len(found) > 4


@pytest.mark.parametrize("kind", AuditLogKind)
def test_a_kind_is_asked_for(busy: Job, kind: AuditLogKind) -> None:
    found = rows_of(busy, AuditLogFilter(kind=kind))
    assert found == [row for row in rows_of(busy) if row.kind == kind]


def test_days_are_asked_for_and_included(busy: Job) -> None:
    older(busy, 2)
    today = localdate()
    ago = today - timedelta(days=2)
    readings = AuditLogFilter(kind="readings", since=ago, until=ago)
    assert len(rows_of(busy, readings)) == 1
    assert all(
        row.kind != "readings" for row in rows_of(busy, AuditLogFilter(since=today))
    )
    assert {row.kind for row in rows_of(busy, AuditLogFilter(until=ago))} == {
        "readings"
    }


def test_the_address_asks(busy: Job, building: Building, operations: Person) -> None:
    client = signed_in(operations)
    address = reverse("trail", args=[busy.pk])
    asked = f"?kind=decisions&building={building.pk}&since=2020-01-01"
    rows = client.get(address + asked).context["rows"]
    assert [row.text for row in rows] == ["Pad S2: decided"]


@pytest.mark.parametrize(
    "asked",
    ["?kind=magic", "?person=x", "?since=yesterday", "?building=999999", "?after=x",
     "?after=2026-01-01T00:00:00~1~2", "?after=2026-01-01T00:00:00%2B00:00~99999~2",
     "?after=2026-01-01T00:00:00%2B00:00~1~%00"],
)  # fmt: skip
def test_what_is_no_question_is_left_out(
    busy: Job, operations: Person, asked: str
) -> None:
    answer = signed_in(operations).get(reverse("trail", args=[busy.pk]) + asked)
    assert answer.status_code == 200
    assert len(answer.context["rows"]) >= len(rows_of(busy)) - 1


# In pages


@pytest.mark.parametrize("size", [1, 2, 7])
def test_pages_give_every_row_once_in_order(
    busy: Job, monkeypatch: pytest.MonkeyPatch, size: int
) -> None:
    whole = list(load_page(busy, ALL, None).entries)
    monkeypatch.setattr(trail_queries, "ROWS_PER_PAGE", size)
    found: list[AuditLogEntry] = []
    after: AuditLogCursor | None = None
    while True:
        page = load_page(busy, ALL, after)
        found += page.entries
        if page.after is None:
            break
        after = AuditLogCursor.parse(str(page.after))
        assert after == page.after
    assert found == whole
    assert whole == sorted(whole, key=lambda each: each.at, reverse=True)
    assert len(whole) > 10


def test_rows_of_one_moment_are_told_apart(
    job: Job, building: Building, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Everything at the same instant still comes once, whatever the page breaks."""
    moment = now()
    with pgtrigger.ignore():
        for source in SOURCES:
            source.rows(job).update(**{source.at: moment})
    whole = load_page(job, ALL, None).entries
    assert {each.at for each in whole} == {moment}
    monkeypatch.setattr(trail_queries, "ROWS_PER_PAGE", 2)
    found: list[AuditLogEntry] = []
    after: AuditLogCursor | None = None
    while (page := load_page(job, ALL, after)).after:
        found += page.entries
        after = page.after
    assert tuple(found + list(page.entries)) == whole


def test_a_page_is_a_constant_number_of_queries(
    busy: Job, building: Building, measure: Measure, operations: Person,
    django_assert_num_queries: Any,
) -> None:  # fmt: skip
    client = signed_in(operations)
    address = reverse("trail", args=[busy.pk])
    for count in (1, 5):
        for number in range(count):
            lead = factories.person(f"lead{count}{number}", Role.FIELD)
            set_membership(actor=operations, job=busy, person=lead, role=Role.FIELD)
            signed_in(lead).get(building.get_absolute_url())
            measure(entry("level:S3", f"{1000 + number} mm"))
        with django_assert_num_queries(10):
            client.get(address)


# As a table


def table_of(client: Client, job: Job, asked: str = "") -> list[dict[str, str]]:
    answer = client.get(reverse("checks:audit_log_csv", args=[job.pk]) + asked)
    assert answer.headers["Content-Type"].startswith("text/csv")
    text = answer.getvalue().decode()
    return list(csv.DictReader(io.StringIO(text)))


def test_the_table_has_every_row_as_asked(
    busy: Job, operations: Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(trail_queries, "ROWS_PER_PAGE", 3)
    monkeypatch.setattr(trail_queries, "EXPORT_CHUNK_ROWS", 4)
    client = signed_in(operations)
    client.get(reverse("trail", args=[busy.pk]))
    whole = [each for some in iterate_entries(busy, ALL) for each in some]
    rows = table_of(client, busy)
    assert len(rows) == len(whole) > 10
    assert rows[-1]["what"] == "Job created"
    assert rows[-1]["user name"] == "olive"
    decided = table_of(client, busy, "?kind=decisions")
    assert [row["what"] for row in decided] == ["Pad S2: decided"]


@pytest.mark.parametrize("start", ["=", "+", "-", "@"])
def test_a_note_is_no_formula_in_the_table(
    job: Job, low_pad: Finding, operations: Person, start: str
) -> None:
    request_remeasurement(actor=operations, finding=low_pad, note=f"{start}1+1")
    (row,) = table_of(signed_in(operations), job, "?kind=decisions")
    assert row["note"] == f"'{start}1+1"


# To whom


def test_the_job_page_leads_those_there_who_may(
    job: Job, operations: Person, field_lead: Person
) -> None:
    address = reverse("trail", args=[job.pk])
    assert address in signed_in(operations).get(job.get_absolute_url()).text
    assert address not in signed_in(field_lead).get(job.get_absolute_url()).text


def test_an_account_opened_again_is_on_the_trail(
    job: Job, administrator: Person, field_lead: Person
) -> None:
    close_account(actor=administrator, person=field_lead)
    reopen_account(actor=administrator, person=field_lead)
    told_of = words_of(job, AuditLogFilter(kind="people"))
    assert told_of[-1] == ("Addie", "Fern: account reopened")
