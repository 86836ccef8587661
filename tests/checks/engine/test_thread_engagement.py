import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.engine.errors import EngineError
from checks.engine.thread_engagement import compute_engagement


def test_rod_end_flush_with_the_nut_is_fully_engaged():
    # Worked: 12.7 plate + 6.35 washer + 19.2532 nut = 38.3032 of projection.
    found = compute_engagement(38.3032, 0.0, 12.7, 6.35, 19.2532)
    assert found.spare_mm == pytest.approx(0.0, abs=1e-9)
    assert found.engaged == 1.0
    assert found.missing_mm == 0.0


def test_a_shim_reduces_the_spare_thread_by_its_thickness():
    bare = compute_engagement(50.0, 0.0, 12.7, 6.35, 19.25)
    shimmed = compute_engagement(50.0, 3.175, 12.7, 6.35, 19.25)
    assert bare.spare_mm - shimmed.spare_mm == pytest.approx(3.175)


@pytest.mark.parametrize(
    ("into_nut", "engaged", "credited"),
    # AISC Design Guide 1, 2nd ed. (secondary): in proportion, from half a nut on
    [(15.0, 0.75, 0.75), (10.0, 0.5, 0.5), (9.9, 0.495, 0.0), (-3.0, 0.0, 0.0)],
)
def test_credit_is_in_proportion_and_only_from_half_a_nut_on(
    into_nut, engaged, credited
):
    found = compute_engagement(20.0 + into_nut, 0.0, 20.0, 0.0, 20.0)
    assert found.engaged == pytest.approx(engaged)
    assert found.credited == pytest.approx(credited)
    assert found.missing_mm == pytest.approx(20.0 - into_nut)


def test_whole_buildings_broadcast():
    found = compute_engagement(
        np.array([[40.0, 50.0], [30.0, np.nan]]), 0.0, 12.7, 0.0, 20.0
    )
    assert found.spare_mm.shape == (2, 2)
    assert np.isnan(found.engaged[1, 1])
    assert np.isnan(found.credited[1, 1])


@pytest.mark.parametrize("bad", [(-1.0, 1.0, 20.0), (1.0, -1.0, 20.0), (1.0, 1.0, 0.0)])
def test_thicknesses_that_cannot_be_are_refused(bad):
    plate, washer, nut = bad
    with pytest.raises(EngineError):
        compute_engagement(50.0, 0.0, plate, washer, nut)


@given(st.floats(-100, 300), st.floats(0, 50), st.floats(1, 70))
def test_engagement_and_credit_stay_between_nothing_and_all(projection, plate, nut):
    found = compute_engagement(projection, 0.0, plate, 0.0, nut)
    assert 0.0 <= found.credited <= found.engaged <= 1.0
    assert found.missing_mm >= 0.0
