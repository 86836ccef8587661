"""Photographs on the pages: shown to those of the job, and taken in by their forms."""

from typing import Any
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils.timezone import now

from checks.models import Decision, Finding, Photograph, Reading, WorkReport
from checks.queries import photographs as queries
from checks.services.file_store import load_file
from checks.services.findings import report_work_done
from checks.services.photographs import UploadedPhotograph, add_photograph
from core.models import Person
from jobs.models import Building, Job
from tests import factories
from tests.checks.conftest import Measure, entry
from tests.checks.decided_findings import fresh, order
from tests.example_buildings import shed
from tests.images import photo
from tests.stored_files import path_of

pytestmark = pytest.mark.django_db
PHOTO = photo()


def file(content: bytes = PHOTO, name: str = "plate.jpg") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, content, "image/jpeg")


def url(name: str, *args: object) -> str:
    return reverse(f"checks:{name}", args=args)


@pytest.fixture
def signed_in(client: Client) -> Any:
    def sign_in(person: Person) -> Client:
        client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
        return client

    return sign_in


def add(actor: Person, building: Building, **members: Any) -> Photograph:
    given = {"client_id": uuid4(), "content": PHOTO, "taken_at": now(), **members}
    return add_photograph(actor=actor, building=building, **given).photograph


# The file


def test_a_photographs_file_is_its_readers_for_good(
    building: Building, field_lead: Person, signed_in: Any
) -> None:
    kept = add(field_lead, building)
    client = signed_in(field_lead)
    for address, digest in (
        (kept.get_absolute_url(), kept.digest),
        (kept.small_url, kept.small_digest),
    ):
        answer = client.get(address)
        assert b"".join(answer.streaming_content) == load_file(digest)
        assert answer["Content-Type"] == "image/jpeg"
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert answer["Cache-Control"] == "private, max-age=31536000, immutable"
        assert "Cookie" in answer["Vary"]
        again = client.get(address, headers={"If-None-Match": answer["ETag"]})
        assert (again.status_code, again.content) == (304, b"")


def test_a_photograph_is_nobodys_who_is_not_on_its_job(
    building: Building, field_lead: Person, stranger: Person, signed_in: Any
) -> None:
    kept = add(field_lead, building)
    client = signed_in(stranger)
    assert client.get(kept.get_absolute_url()).status_code == 404
    etag = {"If-None-Match": f'"{kept.digest}"'}
    assert client.get(kept.get_absolute_url(), headers=etag).status_code == 404


def test_a_digest_opens_nothing_of_another_building(
    building: Building,
    job: Job,
    operations: Person,
    field_lead: Person,
    signed_in: Any,
) -> None:
    other = factories.building(job, operations, shed(name="Another shed"))
    kept = add(field_lead, building)
    client = signed_in(field_lead)
    for digest in (kept.digest, "0" * 64, "x", "..%2f", "a\x00"):
        assert client.get(url("photograph", other.pk, digest)).status_code == 404


def test_nothing_is_served_past_that_page(
    building: Building, field_lead: Person, signed_in: Any
) -> None:
    kept = add(field_lead, building)
    path = f"/media/photographs/{kept.digest[:2]}/{kept.digest}.jpg"
    assert signed_in(field_lead).get(path).status_code == 404


@pytest.mark.filterwarnings("ignore::UserWarning")
def test_a_lost_file_is_not_there(
    building: Building, field_lead: Person, signed_in: Any
) -> None:
    kept = add(field_lead, building, content=photo(33, 77))
    path_of(kept.digest).unlink()
    assert signed_in(field_lead).get(kept.get_absolute_url()).status_code == 404


# With a decision


@pytest.fixture
def made(low_pad: Finding, engineer: Person) -> Decision:
    return order(low_pad, engineer)


def report(**members: Any) -> dict[str, Any]:
    return {"at": f"{now():%Y-%m-%dT%H:%M}", "note": "Done.", **members}


def test_work_is_reported_with_photographs_and_they_are_shown_with_it(
    made: Decision, field_lead: Person, signed_in: Any
) -> None:
    client = signed_in(field_lead)
    page = client.get(made.finding.get_absolute_url()).content.decode()
    spaced = " ".join(page.split())
    assert 'accept="image/*" capture="environment" multiple' in spaced
    given = report(photographs=[file(), file(photo(60))], caption="Shims in <place>")
    answer = client.post(url("carry_out", made.pk), given, follow=True)
    page = answer.content.decode()
    first, second = Photograph.objects.order_by("pk")
    assert first.work_report == second.work_report == WorkReport.objects.get()
    for kept in (first, second):
        assert f'href="{kept.get_absolute_url()}"' in page
        assert f'src="{kept.small_url}"' in page
    assert page.count("Shims in &lt;place&gt;</b>") == 2
    assert f"{field_lead}, <time" in page


def test_a_photograph_that_cannot_be_kept_is_told_on_the_form(
    made: Decision, field_lead: Person, signed_in: Any
) -> None:
    given = report(photographs=[file(), file(b"?", "far.heic")])
    answer = signed_in(field_lead).post(url("carry_out", made.pk), given)
    assert answer.status_code == 400
    page = answer.content.decode()
    assert "far.heic: This file is not a supported image" in page
    assert "Done.</textarea>" in page
    assert fresh(made.finding).state == Finding.State.DECIDED


def test_work_is_reported_without_photographs_only_with_a_word_on_it(
    made: Decision, field_lead: Person, signed_in: Any
) -> None:
    client = signed_in(field_lead)
    silent = client.post(url("carry_out", made.pk), report(note=" "))
    assert silent.status_code == 400
    assert "Add a photograph of the work, or write what" in silent.content.decode()
    assert not WorkReport.objects.exists()
    answer = client.post(url("carry_out", made.pk), report())
    assert answer.status_code == 302
    assert WorkReport.objects.exists()


def test_more_photographs_of_the_work_are_added_afterwards_once(
    made: Decision, field_lead: Person, engineer: Person, signed_in: Any
) -> None:
    done = report_work_done(actor=field_lead, decision=made, at=now(), note="Done.")
    client = signed_in(field_lead)
    address = url("add_decision_photographs", made.pk)
    assert address in client.get(made.finding.get_absolute_url()).content.decode()
    batch = str(uuid4())
    for _ in range(2):
        given = {"photographs": [file()], "caption": "Later", "batch": batch}
        assert client.post(address, given, follow=True).status_code == 200
    assert done.photographs.get().caption == "Later"
    given = {"photographs": [file()], "batch": str(uuid4())}
    assert signed_in(engineer).post(address, given).status_code == 403


def test_a_finding_is_photographed_before_anything_is_done(
    low_pad: Finding, engineer: Person, signed_in: Any
) -> None:
    client = signed_in(engineer)
    given = {
        "photographs": [file()],
        "at": "2026-05-11T13:20",
        "batch": str(uuid4()),
    }
    page = client.post(url("add_finding_photographs", low_pad.pk), given, follow=True)
    kept = low_pad.photographs.get()
    assert kept.small_url in page.content.decode()
    assert f"{kept.taken_at:%Y-%m-%d %H:%M}" == "2026-05-11 13:20"


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({}, "required"),
        (
            {"photographs": [file(b"?", "x.png")]},
            "x.png: This file is not a supported image",
        ),
        ({"photographs": [file()], "caption": "a" * 201}, "at most 200 characters"),
    ],
)
def test_what_is_wrong_with_photographs_is_told_on_the_page(
    low_pad: Finding, field_lead: Person, signed_in: Any, given: Any, told: str
) -> None:
    given = {**given, "batch": str(uuid4())}
    address = url("add_finding_photographs", low_pad.pk)
    page = signed_in(field_lead).post(address, given, follow=True)
    assert told in page.content.decode()
    assert not Photograph.objects.exists()


# Where they are seen


def test_the_record_shows_photographs_with_who_and_when(
    building: Building, measure: Measure, field_lead: Person, signed_in: Any
) -> None:
    measure(entry("level:S1", "1 m", id="r-1"), entry("level:S2", "1 m"))
    of_reading = add(field_lead, building, reading="r-1", caption="Rod in the rain")
    elsewhere = add(field_lead, building, check="level:S2", content=photo(64, 48))
    client = signed_in(field_lead)
    page = client.get(url("reading_history", building.pk)).content.decode()
    shown = [page.count(f'src="{kept.small_url}"') for kept in (of_reading, elsewhere)]
    assert shown == [2, 1]  # beside its reading, and below; below
    assert "Rod in the rain</b>" in page
    only = client.get(url("reading_history", building.pk), {"check": "level:S2"})
    assert of_reading.small_url not in only.content.decode()
    assert elsewhere.small_url in only.content.decode()


def test_the_record_turns_the_pages_of_its_photographs(
    building: Building,
    field_lead: Person,
    signed_in: Any,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(queries, "PHOTOGRAPHS_PER_PAGE", 1)
    old, new = (add(field_lead, building, content=photo(n, n)) for n in (40, 50))
    client = signed_in(field_lead)
    first = client.get(url("reading_history", building.pk)).content.decode()
    assert new.small_url in first
    assert old.small_url not in first
    second = client.get(url("reading_history", building.pk), {"photographs": "2"})
    assert old.small_url in second.content.decode()


def test_a_position_shows_what_was_photographed_of_it(
    low_pad: Finding, building: Building, engineer: Person, field_lead: Person,
    signed_in: Any,
) -> None:  # fmt: skip
    done = report_work_done(
        actor=field_lead, decision=order(low_pad, engineer), at=now(), note="Done."
    )
    mine = [
        add(field_lead, building, check="setback:S2.1", content=photo(31, 40)),
        add(field_lead, building, finding=low_pad, content=photo(32, 40)),
        add(field_lead, building, decision=done.decision, content=photo(33, 40)),
    ]
    other = add(field_lead, building, check="setback:S1.1", content=photo(34, 40))
    client = signed_in(engineer)
    page = client.get(url("position", building.pk, "S2")).content.decode()
    assert all(kept.small_url in page for kept in mine)
    assert other.small_url not in page
    assert "Pad S2, carried out" in page


def test_a_finding_shows_the_photographs_of_its_checks(
    low_pad: Finding, building: Building, field_lead: Person, signed_in: Any
) -> None:
    kept = add(field_lead, building, check="level:S2")
    page = signed_in(field_lead).get(low_pad.get_absolute_url()).content.decode()
    assert kept.small_url in page


def test_pages_take_as_many_queries_however_many_photographs_there_are(
    low_pad: Finding, building: Building, engineer: Person, field_lead: Person,
    signed_in: Any,
) -> None:  # fmt: skip
    made = order(low_pad, engineer)
    handed = [UploadedPhotograph(name="a.jpg", content=PHOTO)]
    report_work_done(actor=field_lead, decision=made, at=now(), photographs=handed)
    reading = Reading.objects.filter(check_key="level:S2").get().client_id

    def one_of_each() -> None:
        for members in ({"reading": reading}, {"finding": low_pad}, {"decision": made}):
            add(field_lead, building, **members)

    client = signed_in(field_lead)
    pages = [
        low_pad.get_absolute_url(),
        url("position", building.pk, "S2"),
        url("reading_history", building.pk),
        url("measure", building.pk) + "?section=levels",
    ]

    def queries_of(page: str) -> int:
        with CaptureQueriesContext(connection) as asked:
            assert client.get(page).status_code == 200
        return len(asked)

    one_of_each()
    [client.get(page) for page in pages]  # what is only asked once is asked
    few = [queries_of(page) for page in pages]
    for _ in range(3):
        one_of_each()
    assert [queries_of(page) for page in pages] == few


# From the walk


def test_the_walk_takes_a_photograph_without_its_script(
    building: Building, field_lead: Person, signed_in: Any
) -> None:
    client = signed_in(field_lead)
    address = url("measure", building.pk)
    page = client.get(address, {"section": "wall:A-B"}).content.decode()
    assert 'name="photograph-0" accept="image/*" capture="environment"' in page
    for _ in range(2):
        given = {
            "section": "wall:A-B",
            "client_id-0": "a-line",
            "typed-0": "66'",
            "photograph-0": file(),
        }
        answer = client.post(address, given, follow=True)
    assert "recorded before" in answer.content.decode()
    kept = Photograph.objects.get()
    assert kept.check_key == "wall:A-B"
    assert kept.reading is not None
    assert kept.reading.client_id == "a-line"
    assert "1 photograph </a>" in " ".join(answer.content.decode().split())


def test_a_photograph_the_walk_cannot_take_costs_no_reading(
    building: Building, field_lead: Person, signed_in: Any
) -> None:
    given = {
        "section": "wall:A-B",
        "client_id-0": "a-line",
        "typed-0": "66'",
        "photograph-0": file(b"?"),
    }
    answer = signed_in(field_lead).post(url("measure", building.pk), given)
    assert answer.status_code == 400
    assert "This file is not a supported image" in answer.content.decode()
    assert Reading.objects.get().client_id == "a-line"
    assert not Photograph.objects.exists()


# What a phone kept


def send(client: Client, building: Building, person: Person, **members: Any) -> Any:
    sent = {
        "id": "6d0c6c0e-0000-4000-8000-000000000001",
        "person": person.pk,
        "check": "wall:A-B",
        "reading": "",
        "caption": "",
        "taken_at": "2026-05-11T13:20:00.000Z",
        "file": file(),
        **members,
    }
    sent = {name: value for name, value in sent.items() if value is not None}
    return client.post(url("sync_photograph", building.pk), sent)


def test_a_photograph_sent_twice_is_stored_once_and_known_twice(
    building: Building, field_lead: Person, signed_in: Any
) -> None:
    client = signed_in(field_lead)
    for _ in range(2):
        told = send(client, building, field_lead).json()
        assert told["refused"] == {}
        assert told["known"] == ["6d0c6c0e-0000-4000-8000-000000000001"]
    assert Photograph.objects.get().check_key == "wall:A-B"


def test_photographs_of_another_person_are_not_taken(
    building: Building, field_lead: Person, operations: Person, signed_in: Any
) -> None:
    answer = send(signed_in(operations), building, field_lead)
    assert answer.status_code == 409
    assert "Another person has signed in" in answer.json()["error"]
    assert not Photograph.objects.exists()


def test_the_way_in_is_for_people_of_the_job_alone(
    building: Building, stranger: Person, client: Client, signed_in: Any
) -> None:
    assert send(client, building, stranger).status_code == 302
    assert send(signed_in(stranger), building, stranger).status_code == 404


@pytest.mark.parametrize(
    ("members", "told"),
    [
        ({"file": None}, "missing"),
        ({"file": file(b"", "x.jpg")}, "empty|missing"),
        ({"file": file(b"?")}, "not a supported image"),
        ({"check": "wall:A-X"}, "Leave the check out"),
        ({"reading": "nobody's"}, "Send the reading first"),
        ({"taken_at": ""}, "with a time zone"),
        ({"taken_at": "2026-05-11T13:20:00"}, "with a time zone"),
        ({"taken_at": "2026-99-11T13:20:00Z"}, "with a time zone"),
        ({"caption": "a" * 201}, "at most 200 are allowed"),
    ],
)
def test_what_is_refused_is_told_by_its_id(
    building: Building, field_lead: Person, signed_in: Any, members: Any, told: str
) -> None:
    answer = send(signed_in(field_lead), building, field_lead, **members).json()
    assert answer["known"] == []
    ((message,),) = answer["refused"].values()
    assert any(part in message for part in told.split("|"))
    assert not Photograph.objects.exists()


def test_what_is_no_photographs_id_is_refused(
    building: Building, field_lead: Person, signed_in: Any
) -> None:
    answer = send(signed_in(field_lead), building, field_lead, id="one")
    assert answer.status_code == 400
