"""Photographs over the wire: sent, listed, and fetched by their digests."""

import hashlib
from typing import Any
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils.timezone import now
from rest_framework.test import APIClient

from checks.models import Decision, Finding, Photograph
from checks.services.findings import decide_finding, report_work_done
from checks.services.photographs import UploadedPhotograph
from checks.services.readings import record_readings
from core.models import Person
from jobs.models import Building
from tests.api.conftest import As
from tests.api.samples import entry
from tests.images import photo

pytestmark = pytest.mark.django_db
PHOTO = photo()


def file(content: bytes = PHOTO) -> SimpleUploadedFile:
    return SimpleUploadedFile("plate.jpg", content, "image/jpeg")


def url(building: Building, digest: str = "") -> str:
    end = f"/{digest}.jpg" if digest else ""
    return f"/api/v1/buildings/{building.pk}/photographs{end}"


def send(client: APIClient, building: Building, **members: Any) -> Any:
    sent = {
        "id": str(uuid4()),
        "file": file(),
        "taken_at": "2026-05-11T13:20:00Z",
        **members,
    }
    given = {name: value for name, value in sent.items() if value is not None}
    return client.post(url(building), given, format="multipart")


@pytest.fixture
def crew(by_token: As, field_lead: Person) -> APIClient:
    return by_token(field_lead)


@pytest.fixture
def done(building: Building, field_lead: Person, engineer: Person) -> Decision:
    """Return a shim, ordered and carried out with a photograph."""
    low = [entry("level:R1", "1000 mm", id="r-1"), entry("level:R2", "1006 mm")]
    record_readings(actor=field_lead, building=building, entries=low)
    made = decide_finding(
        actor=engineer,
        finding=Finding.objects.get(),
        choice=0,
        disposition="rework",
        note="Shim.",
    )
    handed = [UploadedPhotograph(name="a.jpg", content=PHOTO)]
    report_work_done(actor=field_lead, decision=made, at=now(), photographs=handed)
    return made


def test_a_crews_token_sends_a_photograph_and_fetches_it(
    crew: APIClient, building: Building, field_lead: Person
) -> None:
    answer = send(crew, building, caption="Tape at A", check="line:R1")
    assert answer.status_code == 201
    told = answer.json()
    assert (told["caption"], told["check"]) == ("Tape at A", "line:R1")
    assert told["recorded_by"]["username"] == field_lead.username
    assert told["taken_at"] == "2026-05-11T13:20:00Z"
    whole = crew.get(told["file"])
    assert whole["Content-Type"] == "image/jpeg"
    content = b"".join(whole.streaming_content)
    assert hashlib.sha256(content).hexdigest() == told["digest"]
    assert len(content) == told["size"]
    assert whole["Cache-Control"] == "private, max-age=31536000, immutable"
    assert "Authorization" in whole["Vary"]
    assert crew.get(told["small"]).status_code == 200
    same = {"If-None-Match": whole["ETag"]}
    assert crew.get(told["file"], headers=same).status_code == 304
    assert crew.get(told["file"], headers={"Accept": "image/jpeg"}).status_code == 200


def test_sent_again_it_is_one_photograph(crew: APIClient, building: Building) -> None:
    first = send(crew, building, id=str(uuid4()))
    again = send(crew, building, id=first.json()["id"])
    assert (again.status_code, again.json()) == (200, first.json())
    assert Photograph.objects.count() == 1
    other = send(crew, building, id=first.json()["id"], caption="Another")
    assert other.status_code == 400
    assert other.json()["errors"][0]["pointer"] == "/id"


def test_it_is_of_what_it_says(
    crew: APIClient, building: Building, done: Decision
) -> None:
    of = {
        "reading": ("r-1", {"check": "level:R1"}),
        "finding": (done.finding_id, {}),
        "decision": (done.pk, {}),
    }
    for name, (value, more) in of.items():
        told = send(crew, building, **{name: value}).json()
        assert told[name] == value
        assert all(told[member] == wanted for member, wanted in more.items())


@pytest.mark.parametrize(
    ("members", "code", "place", "said"),
    [
        ({"id": None}, 400, "/id", "required"),
        ({"id": "one"}, 400, "/id", "UUID"),
        ({"file": None}, 400, "/file", "No file"),
        ({"file": file(b"")}, 400, "/file", "empty"),
        ({"file": file(b"?")}, 400, "/file", "JPEG, PNG or WebP"),
        ({"taken_at": "2026-05-11T13:20:00"}, 400, "/taken_at", "time zone"),
        ({"caption": "a" * 201}, 400, "/caption", "200"),
        ({"check": "line:R9"}, 400, "/check", "Leave the check out"),
        ({"reading": "r-9"}, 400, "/reading", "Send the reading first"),
        ({"finding": 10**30}, 400, "/finding", "no such finding"),
        ({"decision": 0}, 400, "/decision", "no such decision"),
        ({"captoin": "x"}, 400, "/captoin", "Unknown field"),
    ],
)
def test_what_does_not_fit_is_told_with_its_place(
    crew: APIClient,
    building: Building,
    members: dict[str, Any],
    code: int,
    place: str,
    said: str,
) -> None:
    answer = send(crew, building, **members)
    assert answer.status_code == code
    assert answer["Content-Type"] == "application/problem+json"
    (error,) = answer.json()["errors"]
    assert error["pointer"] == place
    assert said in error["message"]
    assert not Photograph.objects.exists()


def test_what_is_too_large_is_refused_by_its_length(
    crew: APIClient, building: Building
) -> None:
    answer = send(crew, building, file=file(bytes(20_200_000)))
    assert answer.status_code == 413
    assert answer["Content-Type"] == "application/problem+json"
    assert "Send a smaller one" in answer.json()["detail"]


def test_what_is_no_form_is_refused(crew: APIClient, building: Building) -> None:
    answer = crew.post(url(building), {"id": str(uuid4())}, format="json")
    assert answer.status_code == 415
    broken = crew.post(url(building), b"--x", content_type="multipart/form-data")
    assert broken.status_code == 400


def test_the_engineer_adds_none_to_the_fields_work(
    by_token: As, building: Building, engineer: Person, done: Decision
) -> None:
    client = by_token(engineer)
    assert send(client, building).status_code == 201
    assert send(client, building, decision=done.pk).status_code == 403


def test_photographs_are_nobodys_who_is_not_on_the_job(
    crew: APIClient, by_token: As, building: Building, stranger: Person
) -> None:
    kept = send(crew, building).json()
    client = by_token(stranger)
    for answer in (
        send(client, building),
        client.get(url(building)),
        client.get(kept["file"]),
        crew.get(url(building, "0" * 64)),
        crew.get(url(building, "x")),
    ):
        assert answer.status_code == 404
        assert answer["Content-Type"] == "application/problem+json"


def test_they_are_listed_in_pages_and_by_what_they_are_of(
    crew: APIClient, building: Building, done: Decision
) -> None:
    sent = [
        send(crew, building, check=check).json()["id"]
        for check in ("level:R1", "setback:R1.2", "level:R2")
    ]

    def found(**asked: Any) -> list[str]:
        answer = crew.get(url(building), asked)
        assert answer.status_code == 200
        return [row["id"] for row in answer.json()["results"]]

    assert found()[1:] == sent
    assert found(check="level:R2") == sent[2:]
    assert found(mark="R1") == sent[:2]
    assert found(finding=done.finding_id) == found()[:1]
    assert found(since=now().isoformat()) == []
    first = crew.get(url(building), {"limit": 2}).json()
    rest = crew.get(first["next"]).json()
    assert [row["id"] for row in first["results"] + rest["results"]] == found()
    assert crew.get(url(building), {"cheek": "x"}).status_code == 400


def test_the_list_costs_the_same_however_long(
    crew: APIClient, building: Building, done: Decision
) -> None:
    send(crew, building, reading="r-1")
    with CaptureQueriesContext(connection) as few:
        crew.get(url(building))
    for _ in range(3):
        send(crew, building, reading="r-1")
        send(crew, building, decision=done.pk)
    with CaptureQueriesContext(connection) as many:
        assert len(crew.get(url(building)).json()["results"]) == 8
    assert len(many) == len(few)


def test_a_finding_tells_of_its_works_photographs(
    crew: APIClient, building: Building, done: Decision
) -> None:
    address = f"/api/v1/findings/{done.finding_id}"
    with CaptureQueriesContext(connection) as few:
        told = crew.get(address).json()
    (shown,) = told["decisions"][0]["carried_out"]["photographs"]
    assert shown["decision"] == done.pk
    assert crew.get(shown["file"]).status_code == 200
    send(crew, building, decision=done.pk)
    with CaptureQueriesContext(connection) as many:
        told = crew.get(address).json()
    assert len(told["decisions"][0]["carried_out"]["photographs"]) == 2
    assert len(many) == len(few)
