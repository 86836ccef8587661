"""The pages that import and revise a plan as a document."""

import json

import pytest
from django.urls import reverse

from jobs.models import Building
from tests import example_buildings


def longer(length: int) -> dict:
    document = example_buildings.shed()
    document["outline"][1]["x"] = document["outline"][2]["x"] = length
    return document


@pytest.fixture
def importing(client, operations, job):
    client.force_login(operations)
    url = reverse("jobs:import_building", args=[job.pk])

    def send(document, **more):
        text = document if isinstance(document, str) else json.dumps(document)
        return client.post(url, {"document": text, "note": "", **more})

    return send


def test_a_document_is_shown_before_it_is_stored(importing):
    response = importing(example_buildings.shed())
    page = response.content.decode()
    assert response.status_code == 200
    assert "<svg" in page
    assert "6 positions" in page
    assert "Larch yard shed" in page
    assert not Building.objects.exists()


def test_a_document_changed_since_it_was_shown_is_shown_again(importing, job):
    shown = importing(example_buildings.shed()).context["form"].preview_hash
    other = example_buildings.shed(name="Another shed")
    response = importing(other, store="yes", confirmed=shown)
    assert not Building.objects.exists()
    assert "Another shed" in response.content.decode()
    importing(other, store="yes", confirmed=response.context["form"].preview_hash)
    assert job.buildings.get().name == "Another shed"


def test_a_document_is_stored_when_told_to(importing, job):
    response = importing(example_buildings.shed(), store="yes", note="sheet A1")
    building = job.buildings.get()
    assert response.headers["Location"] == reverse("jobs:plan", args=[building.pk])
    assert building.current_revision().note == "sheet A1"


def test_a_file_reads_like_a_pasted_document(client, operations, job, tmp_path):
    client.force_login(operations)
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(example_buildings.shed()), encoding="utf-8-sig")
    with path.open("rb") as file:
        response = client.post(
            reverse("jobs:import_building", args=[job.pk]), {"file": file}
        )
    page = response.content.decode()
    assert "Larch yard shed" in page
    assert "padstone.building/1" in page  # kept in the field, to be stored from there


def test_every_error_is_listed_by_its_place_and_nothing_is_stored(importing):
    document = example_buildings.shed(length_unit="cubit")
    document["positions"][3]["detail"] = "Z"
    response = importing(document, store="yes")
    page = response.content.decode()
    assert response.status_code == 400
    assert "/length_unit" in page
    assert "/positions/3/detail" in page
    assert "cubit" in page
    assert not Building.objects.exists()


@pytest.mark.parametrize(
    "text", ["", "{", "[]", "null", '{"format": NaN}', "[" * 100_000, "\x00", "1e999"]
)
def test_what_is_no_document_is_refused_in_words(importing, text):
    response = importing(text, store="yes")
    assert response.status_code == 400
    assert not Building.objects.exists()


@pytest.mark.parametrize("content", [b"\xff\xfe\x00", b"", b"PK\x03\x04"])
def test_a_file_that_is_no_document_is_refused_in_words(
    client, operations, job, tmp_path, content
):
    client.force_login(operations)
    path = tmp_path / "plan.bin"
    path.write_bytes(content)
    with path.open("rb") as file:
        response = client.post(
            reverse("jobs:import_building", args=[job.pk]), {"file": file}
        )
    assert response.status_code == 400


def test_a_building_of_the_same_name_is_refused_with_the_document_kept(
    importing, building
):
    response = importing(example_buildings.shed(), store="yes")
    page = response.content.decode()
    assert response.status_code == 400
    assert "already has a building called" in page
    assert "padstone.building/1" in page


def test_a_revision_lists_its_changes_before_and_after_it_is_stored(
    client, operations, building
):
    client.force_login(operations)
    url = reverse("jobs:revise", args=[building.pk])
    text = json.dumps(longer(70))
    page = client.post(url, {"document": text}).content.decode()
    assert "corner B" in page
    assert "70\N{PRIME}-0\N{DOUBLE PRIME}" in page
    assert building.revisions.count() == 1
    client.post(url, {"document": text, "store": "yes", "note": "longer by 4 ft"})
    assert building.revisions.count() == 2
    page = client.get(reverse("jobs:plan", args=[building.pk])).content.decode()
    assert "longer by 4 ft" in page
    assert "corner B" in page
    assert building.current_revision().digest in page


def test_a_revision_without_a_change_is_refused_in_words(client, operations, building):
    client.force_login(operations)
    response = client.post(
        reverse("jobs:revise", args=[building.pk]),
        {"document": json.dumps(example_buildings.shed()), "store": "yes"},
    )
    assert response.status_code == 400
    assert "identical to revision" in response.content.decode()


def test_a_stored_document_comes_out_as_it_went_in(client, operations, building):
    client.force_login(operations)
    response = client.get(reverse("jobs:document", args=[building.pk, 1]))
    assert response.json() == example_buildings.shed()
    missing = client.get(reverse("jobs:document", args=[building.pk, 2]))
    assert missing.status_code == 404
