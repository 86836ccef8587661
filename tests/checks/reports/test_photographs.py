"""Photographs in a release: frozen by their digests, shown on paper, proved by both."""

import copy
import json
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.utils.timezone import now

from checks.models import Photograph, Release, WorkReport
from checks.reports.release_report import compose_release, render_release_pdf
from checks.reports.status_report import render_status_pdf
from checks.reports.typst_pdf import build_files
from checks.reports.verification import verify_release_file
from checks.services.file_store import load_file
from checks.services.photographs import add_photograph
from checks.services.releases import find_verified_release, sign_release
from core.models import Person
from jobs.exchange.canonical_json import sha256_of
from jobs.models import Building
from tests.checks.reports.conftest import ReadPdf
from tests.images import photo
from tests.stored_files import path_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def photographed(
    decided: Building, field_lead: Person, operations: Person
) -> tuple[Release, dict[str, Photograph]]:
    """Return a ship release over a photograph of work, of a finding and of a check."""
    done = WorkReport.objects.get()
    made = done.decision

    def add(width: int, caption: str, **of: Any) -> Photograph:
        return add_photograph(
            actor=field_lead,
            building=decided,
            client_id=uuid4(),
            content=photo(width, 300),
            taken_at=now(),
            caption=caption,
            **of,
        ).photograph

    taken = {
        "work": add(400, "New rod <i>set</i> #2", decision=made),
        "finding": add(401, "Rod beside its place", finding=made.finding),
        "check": add(402, "Tape at corner A", check="wall:A-B"),
    }
    return sign_release(actor=operations, building=decided, kind="ship"), taken


Photographed = tuple[Release, dict[str, Photograph]]


def test_the_frozen_record_holds_their_digests(photographed: Photographed) -> None:
    release, taken = photographed
    record = release.record
    (finding,) = record["findings"]
    (work,) = finding["decisions"][0]["carried_out"]["photographs"]
    assert work["digest"] == taken["work"].digest
    assert work["recorded_by"]["username"] == "fern"
    others = {row["digest"]: row for row in record["photographs"]}
    assert set(others) == {taken["finding"].digest, taken["check"].digest}
    assert others[taken["check"].digest]["check"] == "wall:A-B"
    assert others[taken["finding"].digest]["finding"] == "position:S1"
    assert find_verified_release(release.digest) == release


def test_a_photograph_added_since_changes_no_release(
    photographed: Photographed, field_lead: Person
) -> None:
    release, _ = photographed
    before = render_release_pdf(release.record)
    add_photograph(
        actor=field_lead,
        building=release.building,
        client_id=uuid4(),
        content=photo(),
        decision=WorkReport.objects.get().decision,
    )
    release.refresh_from_db()
    assert find_verified_release(release.digest) == release
    assert render_release_pdf(release.record) == before


def test_the_release_shows_them_with_caption_who_when_and_digest(
    photographed: Photographed, text_of: ReadPdf
) -> None:
    release, taken = photographed
    pdf = render_release_pdf(release.record)
    words = " ".join(text_of(pdf).split())
    for said in (
        "Carried out: New rod <i>set</i> #2",
        "Rod beside its place",
        "Tape at corner A",
        "Fern (fern)",
        "1 photograph",
    ):
        assert said in words, said
    letters = "".join(words.split())
    for kept in taken.values():
        assert kept.digest in letters
    # The picture in the file is, byte for byte, the one whose digest stands below it.
    assert load_file(taken["work"].digest) in pdf
    assert load_file(taken["finding"].digest) in pdf
    assert load_file(taken["check"].digest) not in pdf


def test_a_release_with_photographs_is_proved_by_its_file(
    photographed: Photographed,
) -> None:
    release, _ = photographed
    proof = verify_release_file(
        render_release_pdf(release.record, "https://padstone.example.org")
    )
    assert (proof.release, proof.attachment_matches, proof.print_matches) == (
        release,
        True,
        True,
    )


def test_a_release_whose_photograph_is_lost_prints_and_says_so(
    photographed: Photographed, text_of: ReadPdf
) -> None:
    release, taken = photographed
    path_of(taken["work"].digest).unlink()
    pdf = render_release_pdf(release.record)
    assert "The file of this photograph is lost." in text_of(pdf)
    assert find_verified_release(release.digest) == release


def test_the_status_shows_them_too(photographed: Photographed) -> None:
    release, taken = photographed
    assert load_file(taken["work"].digest) in render_status_pdf(release.building, now())


def test_a_photograph_shown_twice_is_in_the_file_once(
    photographed: Photographed,
) -> None:
    release, _ = photographed
    record = copy.deepcopy(release.record)
    work = record["findings"][0]["decisions"][0]["carried_out"]["photographs"]
    work.append(work[0])
    files = build_files(compose_release(record))
    shown = json.loads(files["data.json"])["blocks"]
    (block,) = [each for each in shown if each["is"] == "photographs"]
    assert [row["digest"] for row in block["photographs"]].count(work[0]["digest"]) == 2
    assert sum(name.endswith(".jpg") for name in files) == 2


def test_a_release_of_before_there_were_photographs_still_holds(
    photographed: Photographed, client: Client, field_lead: Person
) -> None:
    release, _ = photographed
    record = copy.deepcopy(release.record)
    del record["photographs"]
    for finding in record["findings"]:
        for made in finding["decisions"]:
            del made["carried_out"]["photographs"]
    for row in record["notice"]["rods"]:
        row["carried_out"].pop("photographs", None)
    old = Release.objects.create(
        building=release.building,
        revision=release.revision,
        kind="erect",
        record=record,
        digest=sha256_of(record),
        signed_by=release.signed_by,
        signed_at=release.signed_at,
    )
    assert find_verified_release(old.digest) == old
    assert verify_release_file(render_release_pdf(old.record)).is_valid
    client.force_login(field_lead, backend="django.contrib.auth.backends.ModelBackend")
    assert client.get(old.get_absolute_url()).status_code == 200


def test_the_release_page_lists_them_with_their_files(
    photographed: Photographed, client: Client, field_lead: Person
) -> None:
    release, taken = photographed
    client.force_login(field_lead, backend="django.contrib.auth.backends.ModelBackend")
    page = client.get(release.get_absolute_url()).content.decode()
    assert "3 photographs" in page
    for kept in taken.values():
        assert f'href="{kept.get_absolute_url()}"' in page
    assert "Rods at S1, carried out" in page
