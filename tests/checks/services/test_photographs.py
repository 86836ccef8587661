"""Photographs in the record: stored once, of what they say, and never changed."""

import hashlib
import os
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, ProgrammingError, connection, transaction
from django.utils.timezone import now

from checks.models import Decision, Finding, Photograph, Reading, WorkReport
from checks.services.file_store import FileStoreError, load_file, store_file
from checks.services.findings import report_work_done
from checks.services.photographs import (
    AddedPhotograph,
    UploadedPhotograph,
    add_photograph,
)
from core.models import Person
from jobs.models import Building, Job
from tests import factories
from tests.checks.conftest import Measure, entry
from tests.checks.decided_findings import fresh, order
from tests.example_buildings import shed
from tests.images import photo
from tests.stored_files import path_of

pytestmark = pytest.mark.django_db
TAKEN = datetime(2026, 5, 11, 13, 20, tzinfo=UTC)
PHOTO = photo()
ID = UUID("6d0c6c0e-0000-4000-8000-000000000001")


def add(actor: Person, building: Building, **members: Any) -> AddedPhotograph:
    given = {"client_id": ID, "content": PHOTO, "taken_at": TAKEN, **members}
    return add_photograph(actor=actor, building=building, **given)


def refused(actor: Person, building: Building, **members: Any) -> dict[str, list[str]]:
    with pytest.raises(ValidationError) as told:
        add(actor, building, **members)
    return told.value.message_dict


@pytest.fixture
def done(low_pad: Finding, engineer: Person, field_lead: Person) -> WorkReport:
    """Return the shim of the low pad, ordered and carried out."""
    return report_work_done(
        actor=field_lead, decision=order(low_pad, engineer), at=now(), note="Done."
    )


# Once, and as it is


def test_a_photograph_says_who_when_and_what(
    building: Building, field_lead: Person
) -> None:
    row = add(field_lead, building, caption="  Plate\n washers ", check="level:S2")
    kept = Photograph.objects.get()
    assert row == AddedPhotograph(kept, created=True)
    assert (kept.caption, kept.check_key) == ("Plate washers", "level:S2")
    assert (kept.recorded_by, kept.taken_at) == (field_lead, TAKEN)
    content = load_file(kept.digest)
    assert hashlib.sha256(content).hexdigest() == kept.digest
    assert (len(content), kept.width, kept.height) == (kept.size, 120, 80)
    assert load_file(kept.small_digest)


def test_sent_twice_it_is_one(building: Building, field_lead: Person) -> None:
    first = add(field_lead, building)
    elsewhere = TAKEN.astimezone().replace(microsecond=0)
    again = add(field_lead, building, taken_at=elsewhere)
    assert again == AddedPhotograph(first.photograph, created=False)
    assert Photograph.objects.count() == 1


@pytest.mark.parametrize(
    "other",
    [
        {"content": photo(60, 40)},
        {"caption": "Another"},
        {"check": "level:S1"},
        {"taken_at": TAKEN + timedelta(seconds=1)},
    ],
    ids=lambda other: next(iter(other)),
)
def test_the_same_id_with_another_content_is_refused(
    building: Building, field_lead: Person, other: dict[str, Any]
) -> None:
    add(field_lead, building)
    assert (
        "belongs to another photograph"
        in refused(field_lead, building, **other)["id"][0]
    )
    assert Photograph.objects.count() == 1


def test_two_of_the_same_picture_share_its_files(
    building: Building, field_lead: Person
) -> None:
    rows = [add(field_lead, building, client_id=uuid4()).photograph for _ in range(2)]
    assert rows[0].digest == rows[1].digest
    assert Photograph.objects.count() == 2


@pytest.mark.django_db(transaction=True)
def test_sent_twice_at_once_it_is_one(building: Building, field_lead: Person) -> None:
    together = threading.Barrier(2)
    told: list[object] = []

    def send() -> None:
        try:
            together.wait(timeout=30)
            told.append(add(field_lead, building).created)
        except Exception as error:  # noqa: BLE001 - told by the assertion below
            told.append(error)
        finally:
            connection.close()

    threads = [threading.Thread(target=send) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(map(str, told)) == ["False", "True"]
    assert Photograph.objects.count() == 1


@pytest.mark.parametrize("what", ["update", "delete"])
def test_the_database_changes_and_deletes_none(
    building: Building, field_lead: Person, what: str
) -> None:
    add(field_lead, building)
    rows = Photograph.objects.all()
    with pytest.raises(ProgrammingError, match="Cannot update or delete"):
        rows.update(caption="Another") if what == "update" else rows.delete()


@pytest.mark.parametrize(
    ("wrong", "constraint"),
    [
        ({"width": 0}, "shows_something"),
        ({"digest": "x" * 64}, "digests_are_sha256"),
        ({"client_id": ID}, "sent_once"),
    ],
)
def test_the_database_refuses_what_is_no_photograph(
    building: Building, field_lead: Person, wrong: dict[str, Any], constraint: str
) -> None:
    row = add(field_lead, building).photograph
    row.pk, row.client_id = None, uuid4()
    for name, value in wrong.items():
        setattr(row, name, value)
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        row.save(force_insert=True)


# What it is of


def test_of_a_reading_it_is_of_its_check(
    building: Building, field_lead: Person, measure: Measure
) -> None:
    measure(entry("level:S1", "1 m", id="r-1"))
    row = add(field_lead, building, reading="r-1").photograph
    assert row.reading == Reading.objects.get()
    assert row.check_key == "level:S1"


def test_of_a_finding_it_is_found_with_it(low_pad: Finding, field_lead: Person) -> None:
    row = add(field_lead, low_pad.building, finding=low_pad).photograph
    assert list(low_pad.photographs.all()) == [row]


def test_what_it_is_said_to_be_of_has_to_be_there(
    building: Building, field_lead: Person, measure: Measure
) -> None:
    measure(entry("level:S1", "1 m", id="r-1"))
    for members, name, told in (
        ({"check": "level:X9"}, "check", "Leave the check out"),
        ({"check": "strength:F\x00"}, "check", "names no check"),
        ({"check": "strength:" + "F" * 200}, "check", "names no check"),
        ({"reading": "r-2"}, "reading", "Send the reading first"),
        ({"reading": "r\x00"}, "reading", "no reading"),
        ({"reading": "r-1", "check": "level:S2"}, "reading", "is of level:S1"),
        ({"caption": "a" * 201}, "caption", "201 characters"),
        ({"caption": "a\x00"}, "caption", "U+0000"),
        ({"content": b"no picture"}, "file", "JPEG, PNG or WebP"),
    ):
        assert told in refused(field_lead, building, **members)[name][0]
    assert not Photograph.objects.exists()


def test_a_finding_of_another_building_is_refused(
    low_pad: Finding, field_lead: Person, job: Job, operations: Person, done: WorkReport
) -> None:
    other = factories.building(job, operations, shed(name="Another shed"))
    made = done.decision
    assert "finding" in refused(field_lead, other, finding=low_pad)
    assert "decision" in refused(field_lead, other, decision=made)
    both = refused(field_lead, low_pad.building, finding=low_pad, decision=made)
    assert "not to both" in both["finding"][0]


# Who may


@pytest.mark.parametrize("who", ["operations", "field_lead", "engineer"])
def test_whoever_may_record_readings_may_add_photographs(
    building: Building, who: str, request: pytest.FixtureRequest
) -> None:
    assert add(request.getfixturevalue(who), building).created


def test_a_stranger_adds_none(building: Building, stranger: Person) -> None:
    with pytest.raises(PermissionDenied, match="may add a photograph"):
        add(stranger, building)


def test_to_a_decisions_work_whoever_may_carry_it_out_adds(
    done: WorkReport, building: Building, field_lead: Person, engineer: Person
) -> None:
    with pytest.raises(PermissionDenied, match="report work as done"):
        add(engineer, building, decision=done.decision)
    row = add(field_lead, building, decision=done.decision).photograph
    assert list(done.photographs.all()) == [row]


def test_work_not_reported_has_no_photographs(
    low_pad: Finding, engineer: Person, field_lead: Person
) -> None:
    made = order(low_pad, engineer)
    told = refused(field_lead, low_pad.building, decision=made)
    assert "Report it first" in told["decision"][0]


def test_photographs_are_seen_by_those_of_the_job(
    building: Building, field_lead: Person, stranger: Person, administrator: Person
) -> None:
    add(field_lead, building)
    seen = Photograph.objects.visible_to
    assert [seen(p).count() for p in (field_lead, administrator, stranger)] == [1, 1, 0]


# With the report of work


@pytest.fixture
def made(low_pad: Finding, engineer: Person) -> Decision:
    return order(low_pad, engineer)


def test_work_is_reported_with_its_photographs(
    made: Decision, field_lead: Person
) -> None:
    at = now()
    done = report_work_done(
        actor=field_lead,
        decision=made,
        at=at,
        photographs=[
            UploadedPhotograph(name=f"{n}.jpg", content=photo(60 + n)) for n in (1, 2)
        ],
        caption="Shims under S2",
    )
    rows = list(done.photographs.all())
    assert [row.width for row in rows] == [61, 62]
    assert {(row.caption, row.taken_at) for row in rows} == {("Shims under S2", at)}


def test_where_one_cannot_be_kept_nothing_is_reported(
    made: Decision, field_lead: Person
) -> None:
    good = UploadedPhotograph(name="good.jpg", content=PHOTO)
    bad = [
        UploadedPhotograph(name=name, content=b"?") for name in ("one.heic", "two.heic")
    ]
    with pytest.raises(ValidationError) as told:
        report_work_done(
            actor=field_lead, decision=made, at=now(), photographs=[good, *bad]
        )
    first, second = told.value.message_dict["photographs"]
    assert first.startswith("one.heic: ")
    assert second.startswith("two.heic: ")
    assert fresh(made.finding).state == Finding.State.DECIDED
    assert not WorkReport.objects.exists()


def test_more_than_a_dozen_at_once_are_refused(
    made: Decision, field_lead: Person
) -> None:
    many = [UploadedPhotograph(name="a.jpg", content=PHOTO)] * 13
    with pytest.raises(ValidationError, match="at most 12"):
        report_work_done(actor=field_lead, decision=made, at=now(), photographs=many)


# Files


def test_a_file_is_written_once_and_never_over(settings: Any, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path / "not there yet"
    digest = store_file(b"one")
    before = path_of(digest).stat()
    assert store_file(b"one") == digest
    assert path_of(digest).stat() == before
    assert before.st_mode & 0o222 == 0
    assert digest in str(path_of(digest))
    assert [path.name for path in tmp_path.rglob("*") if path.is_file()] == [
        f"{digest}.jpg"
    ]


def test_no_row_names_a_file_that_could_not_be_kept(
    building: Building, field_lead: Person, settings: Any, tmp_path: Path
) -> None:
    (tmp_path / "photographs").write_text("no folder: nothing can be kept in it")
    settings.MEDIA_ROOT = tmp_path
    with pytest.raises(OSError, match="photographs"):
        add(field_lead, building)
    assert not Photograph.objects.exists()


def test_a_file_lost_or_damaged_is_told_and_not_shown(
    settings: Any, tmp_path: Path
) -> None:
    settings.MEDIA_ROOT = tmp_path
    digest = store_file(b"one")
    os.chmod(path_of(digest), 0o600)
    path_of(digest).write_bytes(b"two")
    with pytest.raises(FileStoreError, match="is damaged"):
        load_file(digest)
    path_of(digest).unlink()
    with pytest.raises(FileStoreError, match="Restore it from the backup"):
        load_file(digest)
