"""A correction is another reading, which takes the place of the one it names."""

import pytest

from checks.models import Evaluation, Reading
from jobs.models import Building
from tests.checks.conftest import Measure, entry

pytestmark = pytest.mark.django_db


def test_a_correction_takes_the_place_of_the_reading_it_names(
    building: Building, measure: Measure
) -> None:
    wrong = entry("wall:A-B", "67'")
    measure(wrong)
    right = measure(entry("wall:A-B", "66'", supersedes=wrong["id"])).stored[0]
    standing = Reading.objects.filter(building=building).current()
    assert list(standing) == [right]
    latest = Evaluation.objects.filter(building=building).first()
    assert latest is not None
    (row,) = (r for r in latest.result["checks"] if r["check"] == "wall:A-B")
    assert row["verdict"] == "within"
    assert row["readings"] == 1


def test_a_chain_of_corrections_comes_in_at_once_in_any_order(
    building: Building, measure: Measure
) -> None:
    first = entry("wall:A-B", "67'")
    second = entry("wall:A-B", "68'", supersedes=first["id"])
    third = entry("wall:A-B", "66'", supersedes=second["id"])
    recorded = measure(third, first, second)
    assert [row.entered for row in recorded.stored] == ["66'", "67'", "68'"]
    standing = Reading.objects.filter(building=building).current()
    assert [row.entered for row in standing] == ["66'"]


def test_a_correction_names_a_standing_reading_of_the_same_check(
    measure: Measure,
) -> None:
    old = entry("wall:A-B", "67'")
    new = entry("wall:A-B", "66'", supersedes=old["id"])
    measure(old, new)
    recorded = measure(
        entry("wall:A-B", "66'", supersedes=old["id"]),
        entry("wall:B-C", "38'", supersedes=new["id"]),
        entry("wall:A-B", "66'", supersedes="nowhere"),
        entry("wall:A-B", "66'") | {"id": "self", "supersedes": "self"},
    )
    told = {refusal.pointer: refusal.message for refusal in recorded.refused}
    assert set(told) == {f"/readings/{place}/supersedes" for place in range(4)}
    assert new["id"] in told["/readings/0/supersedes"]
    assert "wall:A-B" in told["/readings/1/supersedes"]
    assert "no reading nowhere" in told["/readings/2/supersedes"]
    assert "itself" in told["/readings/3/supersedes"]


def test_two_cannot_replace_the_same_reading(measure: Measure) -> None:
    old = entry("wall:A-B", "67'")
    recorded = measure(
        old,
        entry("wall:A-B", "66'", supersedes=old["id"]),
        entry("wall:A-B", "65'", supersedes=old["id"]),
    )
    assert [r.pointer for r in recorded.refused] == ["/readings/2/supersedes"]


def test_readings_cannot_replace_each_other_in_a_circle(measure: Measure) -> None:
    recorded = measure(
        entry("wall:A-B", "67'") | {"id": "a", "supersedes": "b"},
        entry("wall:A-B", "66'") | {"id": "b", "supersedes": "a"},
        keep_good=True,
    )
    assert len(recorded.refused) == 2
    assert not recorded.stored


def test_what_hangs_on_a_refused_reading_is_refused_with_it(measure: Measure) -> None:
    recorded = measure(
        entry("wall:A-B", "66'") | {"id": "a", "supersedes": "nowhere"},
        entry("wall:A-B", "66'") | {"id": "b", "supersedes": "a"},
        keep_good=True,
    )
    assert len(recorded.refused) == 2
    assert not recorded.stored
