"""A release on paper: all of it, from its frozen record alone, the same every time."""

import copy
import hashlib
import re
import zlib

import pytest
from django.test import Client
from django.urls import reverse

from checks.models import Release
from checks.reports.release_report import compose_release, render_release_pdf
from checks.reports.typst_pdf import build_files
from checks.reports.verification import (
    NotAReleaseError,
    verify_release_digest,
    verify_release_file,
)
from core.models import Person
from jobs import services
from jobs.exchange.canonical_json import canonical_json
from tests.checks.conftest import Measure, entry
from tests.checks.reports.conftest import ReadPdf

pytestmark = pytest.mark.django_db
SITE = "https://padstone.example.org"


def attached(pdf: bytes) -> list[bytes]:
    """Every compressed stream of a file, unpacked."""
    found = []
    for match in re.finditer(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL):
        try:
            found.append(zlib.decompress(match[1]))
        except zlib.error:
            continue
    return found


def test_it_is_an_archival_pdf_that_names_its_digest(shipped: Release) -> None:
    pdf = render_release_pdf(shipped.record, SITE)
    assert pdf.startswith(b"%PDF-1.7")
    assert b"<pdfaid:part>3</pdfaid:part>" in pdf
    assert f"sha256:{shipped.digest}".encode() in pdf
    assert f"{SITE}/verify/{shipped.digest}/".encode() in pdf


def test_it_says_everything_a_release_has_to(
    shipped: Release, text_of: ReadPdf
) -> None:
    words = text_of(render_release_pdf(shipped.record, SITE))
    flat = " ".join(words.split())
    for said in (
        "Ship release",
        "Larch yard shed",
        shipped.record["job"]["number"],
        "Signed by Olive (olive)",
        "Load the frames first.",
        shipped.digest,
        f"{SITE}/verify/{shipped.digest}/",
        shipped.record["plan"]["digest"],
        shipped.record["evaluation"]["input_digest"],
        shipped.record["findings"][0]["decisions"][0]["digest"],
        "Notice to the erector",
        "29 CFR 1926.752(a) and 1926.755(b), beside 1926.758(a)",
        "Emery (emery)",
        "Fern (fern)",
        "Drill ½″ <b>#1</b> $x$.",
        "Rods at S1",
        "Screening arithmetic, not design",
        "No column is set before the erector has the written notices",
        "Plan as built",
        "Diagonal A to C",
        "Rod 1, setback from the steel line",
        "Readings",
    ):
        assert said in flat, said
    assert flat.count(f"SHA-256 {shipped.digest}") == flat.count("page ") >= 5


def test_fractions_primes_and_signs_are_in_its_fonts(
    shipped: Release, text_of: ReadPdf
) -> None:
    words = text_of(render_release_pdf(shipped.record))
    for sign in ("⁄", "′", "″", "−", "×", "½"):  # noqa: RUF001 what a drawing has
        assert sign in words
    assert "\N{REPLACEMENT CHARACTER}" not in words


def test_what_was_typed_is_text_and_no_command(shipped: Release) -> None:
    files = build_files(compose_release(shipped.record))
    assert b"#1</b>" not in files["main.typ"]
    assert b"Drill" in files["data.json"]


def test_the_same_record_gives_the_same_bytes(shipped: Release) -> None:
    assert render_release_pdf(shipped.record, SITE) == render_release_pdf(
        copy.deepcopy(shipped.record), SITE
    )


def test_nothing_that_happened_since_changes_it(
    shipped: Release, measure: Measure, operations: Person
) -> None:
    before = render_release_pdf(shipped.record, SITE)
    measure(entry("level:S2", "1020 mm"))
    job = shipped.building.job
    services.update_job(
        actor=operations,
        job=job,
        number="J-other",
        name="Renamed",
        customer="Another",
        site="Elsewhere",
        ship_date=None,
    )
    shipped.refresh_from_db()
    assert render_release_pdf(shipped.record, SITE) == before


def test_the_record_inside_gives_the_digest(shipped: Release) -> None:
    pdf = render_release_pdf(shipped.record)
    content = canonical_json(shipped.record)
    assert content in attached(pdf)
    assert hashlib.sha256(content).hexdigest() == shipped.digest


def test_a_release_of_bare_essentials_prints(shipped: Release) -> None:
    record = copy.deepcopy(shipped.record)
    record |= {"findings": [], "readings": [], "previous": [], "note": ""}
    record["notice"] |= {"strength": None, "rods": []}
    assert render_release_pdf(record).startswith(b"%PDF-")


# Proof


def test_a_printed_release_is_proved_by_its_file(shipped: Release) -> None:
    proof = verify_release_file(render_release_pdf(shipped.record, SITE))
    assert proof.release == shipped
    assert proof.attachment_matches is True
    assert proof.print_matches is True
    assert proof.is_valid


def test_a_file_with_another_record_inside_is_not_proved(shipped: Release) -> None:
    record = copy.deepcopy(shipped.record)
    record["note"] = "Everything is fine."
    forged = render_release_pdf(record, SITE)
    other = re.search(rb"sha256:([0-9a-f]{64})", forged)
    assert other
    assert verify_release_file(forged).release is None
    forged = forged.replace(other[1], shipped.digest.encode())
    proof = verify_release_file(forged)
    assert proof.release == shipped
    assert proof.attachment_matches is False
    assert proof.print_matches is False
    assert not proof.is_valid


def test_a_record_and_a_digest_are_proved_too(shipped: Release) -> None:
    assert verify_release_file(canonical_json(shipped.record)).release == shipped
    assert verify_release_digest(shipped.digest.upper()).release == shipped
    assert not verify_release_digest("0" * 64).is_valid


@pytest.mark.parametrize("content", [b"", b"%PDF-1.7\n%%EOF", b"not json", b"NaN"])
def test_what_is_no_release_is_said_so(content: bytes) -> None:
    with pytest.raises(NotAReleaseError):
        verify_release_file(content)


# The page


def test_the_page_links_it_and_hands_it_out(
    shipped: Release, field_lead: Person, client: Client
) -> None:
    client.force_login(field_lead, backend="django.contrib.auth.backends.ModelBackend")
    address = reverse("checks:release_pdf", args=[shipped.pk])
    page = client.get(reverse("checks:release", args=[shipped.pk])).content.decode()
    assert f'href="{address}"' in page
    answer = client.get(address)
    assert answer["Content-Type"] == "application/pdf"
    assert shipped.digest[:8] in answer["Content-Disposition"]
    assert f"http://testserver/verify/{shipped.digest}/".encode() in answer.content
