"""What to measure next: on the walk, the building, the check and the finding."""

from typing import Any

import pytest
from django.urls import reverse

from checks.models import Finding
from core.models import Person
from jobs.models import Building
from tests.checks.conftest import Measure, as_planned

pytestmark = pytest.mark.django_db
LINE_MM = 33 * 304.8


@pytest.fixture
def near(building: Building, measure: Measure) -> Building:
    """Return the building with one line just within its limit of 1/8 in."""
    measure(*as_planned(building, "foundation", **{"line:S2": f"{LINE_MM + 3.0} mm"}))
    return building


def page(signed_in: Any, person: Person, name: str, *args: object) -> str:
    return str(signed_in(person).get(reverse(name, args=args)).content.decode())


def test_the_walk_links_to_what_to_measure_next(
    near: Building, field_lead: Person, signed_in: Any
) -> None:
    walk = page(signed_in, field_lead, "checks:measure", near.pk)
    listed = walk.split("Measure next")[1].split("</details>")[0]
    assert "S2, reference line" in listed
    assert 'href="?section=wall%3AA-B#line%3AS2"' in listed
    assert "with another tape" in listed


def test_contradictory_readings_come_first_on_the_walk(
    near: Building, measure: Measure, field_lead: Person, signed_in: Any
) -> None:
    measure({"id": "again", "check": "line:S1", "value": "3'"})
    walk = page(signed_in, field_lead, "checks:measure", near.pk)
    listed = walk.split("Measure next")[1].split("</details>")[0]
    assert listed.index("S1, reference line") < listed.index("S2, reference line")


def test_the_building_lists_what_to_measure_next_with_the_chances(
    near: Building, engineer: Person, signed_in: Any
) -> None:
    shown = page(signed_in, engineer, "building", near.pk)
    listed = shown.split('id="next-head"')[1].split("</section>")[0]
    assert "S2, reference line" in listed
    assert "is wrong falls from" in listed


def test_a_check_near_its_limit_names_the_second_reading(
    near: Building, engineer: Person, signed_in: Any
) -> None:
    shown = page(signed_in, engineer, "checks:check", near.pk, "line:S2")
    assert "Close to the limit:" in shown
    assert "read it with another tape; the chance that the verdict is wrong" in shown
    far = page(signed_in, engineer, "checks:check", near.pk, "setback:S1.1")
    assert "Close to the limit:" not in far


def test_a_finding_has_its_probability_and_its_second_reading(
    building: Building, measure: Measure, engineer: Person, signed_in: Any
) -> None:
    measure(*as_planned(building, "foundation", **{"line:S2": f"{LINE_MM + 3.6} mm"}))
    finding = Finding.objects.get(building=building, topic="position:S2")
    shown = page(signed_in, engineer, "checks:finding", finding.pk)
    assert "Chance that S2, reference line is within its limit:" in shown
    assert "Take a second reading." in shown


@pytest.fixture
def bay_short(building: Building, measure: Measure) -> Building:
    """Return the building with one bay short by nearly twice the limit of a line."""
    measure(
        *as_planned(
            building,
            "foundation",
            **{
                "line:S2": f"{LINE_MM + 3.0} mm",
                "line:S3": f"{64 * 304.8 - 3.0} mm",
            },
        )
    )
    return building


def test_a_bay_to_measure_next_is_linked_on_the_building_and_on_the_walk(
    bay_short: Building, field_lead: Person, signed_in: Any
) -> None:
    shown = page(signed_in, field_lead, "building", bay_short.pk)
    listed = shown.split('id="next-head"')[1].split("</section>")[0]
    address = reverse("checks:check", args=(bay_short.pk, "bay:S2-S3"))
    assert f'href="{address}"' in listed
    assert "The bay S2 to S3 read directly, line to line: the chance" in listed
    assert signed_in(field_lead).get(address).status_code == 200
    walk = page(signed_in, field_lead, "checks:measure", bay_short.pk)
    listed = walk.split("Measure next")[1].split("</details>")[0]
    href = listed.split("bay%3AS2-S3")[0].rpartition('href="')[2] + "bay%3AS2-S3"
    section, _, anchor = href.partition("#")
    assert anchor == "bay%3AS2-S3"
    opened = signed_in(field_lead).get(
        reverse("checks:measure", args=(bay_short.pk,)) + section.replace("&amp;", "&")
    )
    assert 'id="bay:S2-S3"' in opened.content.decode()
