"""A release on paper: all of it, from its frozen record alone, the same every time."""

import copy
import hashlib
import re
import zlib

import pytest
from django.test import Client
from django.urls import reverse

from checks.models import Release
from checks.reports.proof import NoReleaseError, proof_of_digest, proof_of_file
from checks.reports.release import release_pdf, release_report
from checks.reports.typeset import files_of
from core.models import Person
from jobs import services
from jobs.exchange.canonical import canonical_json
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
    pdf = release_pdf(shipped.record, SITE)
    assert pdf.startswith(b"%PDF-1.7")
    assert b"<pdfaid:part>3</pdfaid:part>" in pdf
    assert f"sha256:{shipped.digest}".encode() in pdf
    assert f"{SITE}/verify/{shipped.digest}/".encode() in pdf


def test_it_says_everything_a_release_has_to(
    shipped: Release, text_of: ReadPdf
) -> None:
    words = text_of(release_pdf(shipped.record, SITE))
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
        "29 CFR 1926.752(a) and 1926.755(b)",
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
    words = text_of(release_pdf(shipped.record))
    for sign in ("⁄", "′", "″", "−", "×", "½"):  # noqa: RUF001 what a drawing has
        assert sign in words
    assert "\N{REPLACEMENT CHARACTER}" not in words


def test_what_was_typed_is_text_and_no_command(shipped: Release) -> None:
    files = files_of(release_report(shipped.record))
    assert b"#1</b>" not in files["main.typ"]
    assert b"Drill" in files["data.json"]


def test_the_same_record_gives_the_same_bytes(shipped: Release) -> None:
    assert release_pdf(shipped.record, SITE) == release_pdf(
        copy.deepcopy(shipped.record), SITE
    )


def test_nothing_that_happened_since_changes_it(
    shipped: Release, measure: Measure, operations: Person
) -> None:
    before = release_pdf(shipped.record, SITE)
    measure(entry("level:S2", "1020 mm"))
    job = shipped.building.job
    services.change_job(
        actor=operations,
        job=job,
        number="J-other",
        name="Renamed",
        customer="Another",
        site="Elsewhere",
        ship_date=None,
    )
    shipped.refresh_from_db()
    assert release_pdf(shipped.record, SITE) == before


def test_the_record_inside_gives_the_digest(shipped: Release) -> None:
    pdf = release_pdf(shipped.record)
    content = canonical_json(shipped.record)
    assert content in attached(pdf)
    assert hashlib.sha256(content).hexdigest() == shipped.digest


def test_a_release_of_bare_essentials_prints(shipped: Release) -> None:
    record = copy.deepcopy(shipped.record)
    record |= {"findings": [], "readings": [], "previous": [], "note": ""}
    record["notice"] |= {"strength": None, "rods": []}
    assert release_pdf(record).startswith(b"%PDF-")


# Proof


def test_a_printed_release_is_proved_by_its_file(shipped: Release) -> None:
    proof = proof_of_file(release_pdf(shipped.record, SITE))
    assert proof.release == shipped
    assert proof.attached is True
    assert proof.printed is True
    assert proof.holds


def test_a_file_with_another_record_inside_is_not_proved(shipped: Release) -> None:
    record = copy.deepcopy(shipped.record)
    record["note"] = "Everything is fine."
    forged = release_pdf(record, SITE)
    other = re.search(rb"sha256:([0-9a-f]{64})", forged)
    assert other
    assert proof_of_file(forged).release is None
    forged = forged.replace(other[1], shipped.digest.encode())
    proof = proof_of_file(forged)
    assert proof.release == shipped
    assert proof.attached is False
    assert proof.printed is False
    assert not proof.holds


def test_a_record_and_a_digest_are_proved_too(shipped: Release) -> None:
    assert proof_of_file(canonical_json(shipped.record)).release == shipped
    assert proof_of_digest(shipped.digest.upper()).release == shipped
    assert not proof_of_digest("0" * 64).holds


@pytest.mark.parametrize("content", [b"", b"%PDF-1.7\n%%EOF", b"not json", b"NaN"])
def test_what_is_no_release_is_said_so(content: bytes) -> None:
    with pytest.raises(NoReleaseError):
        proof_of_file(content)


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
