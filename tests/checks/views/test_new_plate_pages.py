"""A new base plate on the finding's page, as files, in the API and on paper."""

import io
from typing import Any
from xml.etree import ElementTree

import ezdxf
import pytest
from django.test import Client
from rest_framework.test import APIClient

from checks.models import Decision, Finding, Reading
from checks.reports.finding_sections import compose_findings
from checks.reports.report_content import read_record
from checks.services.findings import decide_finding
from checks.services.hold_points import get_building_status
from checks.services.releases import build_release_body
from checks.services.steel import record_steel_state
from core.models import Person
from jobs.models import Building
from tests.checks.conftest import Measure, as_planned, entry
from tests.checks.decided_findings import fresh, index_of
from tests.checks.views.addresses import url

pytestmark = pytest.mark.django_db
INCH = 25.4
SETBACK = f"{7 * INCH + 12:.3f} mm"


@pytest.fixture
def rod_off(building: Building, measure: Measure, operations: Person) -> Finding:
    """Return the finding of rod 1 at S2, 12 mm too far in; two crews agree."""
    record_steel_state(actor=operations, building=building, state="detailing")
    changed = {"setback:S2.1": SETBACK}
    crews = [
        [row | {"by": crew} for row in as_planned(building, "foundation", **changed)]
        for crew in ("crew 1", "crew 2")
    ]
    assert not measure(*crews[0], *crews[1]).refused
    return Finding.objects.get(building=building, topic="position:S2")


@pytest.fixture
def ordered(rod_off: Finding, engineer: Person) -> Decision:
    return decide_finding(
        actor=engineer,
        finding=rod_off,
        choice=index_of(rod_off, "new_plate"),
        disposition="repair",
        note="Punch by the sheet.",
    )


def words(answer: Any) -> str:
    return " ".join(answer.content.decode().split())


def test_the_page_proposes_the_plate_with_its_drawing_and_its_holes(
    rod_off: Finding, engineer: Person, signed_in: Any
) -> None:
    assert rod_off.remedies[0]["remedy"] == "new_plate"
    page = signed_in(engineer).get(url("finding", rod_off.pk))
    text = words(page)
    assert "Proposed: New base plate, punched to the rods" in text
    assert "PROPOSAL, NOT ORDERED" in text
    assert "Hole of rod 1" in text
    # 1 1/2 in + 12 mm from the corner: 1.9724 in, laid out as 1 15/16 in or 2 in.
    assert "1.9724 in" in text
    assert text.count("<title>Hole of rod") == 4
    assert "the engineer must order it" in text
    assert url("new_plate", rod_off.pk, "dxf") in text


def test_the_drawing_file_is_a_drawing_without_faults(
    rod_off: Finding, engineer: Person, signed_in: Any
) -> None:
    answer = signed_in(engineer).get(url("new_plate", rod_off.pk, "dxf"))
    assert answer["Content-Type"] == "image/vnd.dxf"
    assert (
        'filename="larch-yard-shed-s2-new-plate.dxf"' in answer["Content-Disposition"]
    )
    drawing = ezdxf.read(io.StringIO(answer.content.decode()))
    assert not drawing.audit().errors
    assert drawing.units == ezdxf.units.IN
    holes = drawing.modelspace().query('CIRCLE[layer=="HOLES"]')
    assert len(holes) == 4
    plate = rod_off.remedies[0]["plate"]
    first = holes[0]
    assert (first.dxf.center.x, first.dxf.center.y) == pytest.approx(
        (plate["holes"][0]["x"] / INCH, plate["holes"][0]["y"] / INCH)
    )
    assert first.dxf.radius == pytest.approx(17 / 32)
    (outline,) = drawing.modelspace().query('LWPOLYLINE[layer=="PLATE"]')
    corners = [tuple(point[:2]) for point in outline.get_points()]
    assert corners[0] == (0.0, 0.0)
    assert corners[2] == pytest.approx((8.0, 8.0))
    notes = " ".join(
        text.dxf.text for text in drawing.modelspace().query('TEXT[layer=="NOTES"]')
    )
    assert "NEW BASE PLATE FOR S2" in notes
    assert "NOT ORDERED" in notes
    assert "not by the holes" in notes
    assert notes.isascii()


def test_the_picture_is_a_drawing_by_itself(
    rod_off: Finding, engineer: Person, signed_in: Any
) -> None:
    answer = signed_in(engineer).get(url("new_plate", rod_off.pk, "svg"))
    assert answer["Content-Type"] == "image/svg+xml"
    root = ElementTree.fromstring(answer.content)  # noqa: S314  # our own
    assert root.tag.endswith("svg")
    assert root.get("width")


def test_another_kind_of_file_and_a_finding_without_a_plate_are_not_found(
    rod_off: Finding, low_pad: Finding, engineer: Person, signed_in: Any
) -> None:
    client = signed_in(engineer)
    assert client.get(url("new_plate", rod_off.pk, "pdf")).status_code == 404
    assert client.get(url("new_plate", low_pad.pk, "dxf")).status_code == 404


def test_a_stranger_finds_no_plate(
    rod_off: Finding, stranger: Person, signed_in: Any
) -> None:
    client: Client = signed_in(stranger)
    assert client.get(url("new_plate", rod_off.pk, "dxf")).status_code == 404


def test_the_api_has_the_same_drawings(rod_off: Finding, engineer: Person) -> None:
    client = APIClient()
    client.force_authenticate(engineer)
    for kind, media_type in (("dxf", "image/vnd.dxf"), ("svg", "image/svg+xml")):
        answer = client.get(f"/api/v1/findings/{rod_off.pk}/new-plate.{kind}")
        assert answer.status_code == 200
        assert answer["Content-Type"] == media_type
    missing = client.get(f"/api/v1/findings/{rod_off.pk}/new-plate.pdf")
    assert missing.status_code == 404
    assert missing["Content-Type"] == "application/problem+json"


def test_an_ordered_plate_stays_as_it_was_ordered_when_the_steel_ships(
    ordered: Decision, building: Building, operations: Person, signed_in: Any
) -> None:
    finding = fresh(ordered.finding)
    record_steel_state(actor=operations, building=building, state="shipped")
    finding = fresh(finding)
    assert finding.remedies[0]["remedy"] != "new_plate"
    # Only the order of the remedies changed, not what the decision rests on.
    assert finding.flagged_at is None
    page = words(signed_in(operations).get(url("finding", finding.pk)))
    assert "Base plate ordered" in page
    assert f"Ordered by {ordered.engineer}" in page
    assert "PROPOSAL, NOT ORDERED" not in page


def test_a_plate_whose_grounds_changed_says_that_nothing_is_made(
    ordered: Decision, measure: Measure, engineer: Person, signed_in: Any
) -> None:
    readings = [
        row.client_id
        for row in Reading.objects.filter(
            building=ordered.finding.building, check_key="setback:S2.1"
        )
    ]
    moved = f"{7 * INCH + 16:.3f} mm"
    measure(
        *(
            entry("setback:S2.1", moved, by=f"crew {number}", supersedes=old)
            for number, old in enumerate(readings, 3)
        )
    )
    finding = fresh(ordered.finding)
    assert finding.flagged_at is not None
    page = words(signed_in(engineer).get(url("finding", finding.pk)))
    assert "ORDER UNDER REVIEW" in page


def test_a_release_shows_the_plate_that_was_ordered(
    ordered: Decision, building: Building
) -> None:
    building = Building.objects.get(pk=building.pk)
    body = build_release_body(get_building_status(building))
    assert [row["remedy"] for row in body["notice"]["rods"]] == ["new_plate"]
    blocks = list(compose_findings(read_record(body)))
    (figures,) = (block for block in blocks if block["is"] == "figures")
    assert "New base plate for S2" in figures["figures"][0].alt_text
    (holes,) = (block for block in blocks if block["is"] == "table")
    assert len(holes["rows"]) == 4
    assert "1.9724 in" in holes["rows"][0]
