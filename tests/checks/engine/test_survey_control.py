import numpy as np
import pytest

from checks.engine.errors import EngineError
from checks.engine.survey_control import AxisSense, fit_control, transform_to_plan

PLAN = np.array([[0.0, 0.0], [24384.0, 0.0], [24384.0, 12192.0], [0.0, 12192.0]])


def surveyed(points, turn=0.4, shift=(6.2e8, 4.1e8), scale=1.0):
    c, s = np.cos(turn), np.sin(turn)
    return np.array(shift) + scale * np.asarray(points) @ np.array([[c, s], [-s, c]])


def test_a_survey_without_errors_comes_back_onto_the_plan():
    found = fit_control(PLAN, surveyed(PLAN))
    assert found.rotation_rad == pytest.approx(-0.4, abs=1e-12)
    assert found.scale == pytest.approx(1.0, abs=1e-10)
    assert found.sense is AxisSense.SAME
    # a double has some 1e-7 mm left at a state grid's coordinates
    np.testing.assert_allclose(found.residuals_mm, 0.0, atol=1e-6)
    inside = [[500.0, 700.0], [9000.0, 12000.0]]
    np.testing.assert_allclose(
        transform_to_plan(found, surveyed(inside)), inside, atol=1e-6
    )


def test_the_scale_is_reported_and_not_used():
    found = fit_control(PLAN, surveyed(PLAN, scale=1.001))
    assert found.scale == pytest.approx(1 / 1.001, rel=1e-10)
    on = transform_to_plan(found, surveyed(PLAN, scale=1.001))
    assert np.hypot(*(on[2] - on[0])) == pytest.approx(
        1.001 * np.hypot(24384, 12192), rel=1e-10
    )
    assert np.hypot(*found.residuals_mm[0]) == pytest.approx(
        0.0005 * np.hypot(24384, 12192), rel=1e-6
    )


def test_residuals_are_surveyed_less_planned():
    survey = PLAN.copy()
    survey[1, 0] += 40.0
    found = fit_control(PLAN, survey)
    assert found.residuals_mm[1, 0] > 0
    np.testing.assert_allclose(found.residuals_mm.sum(axis=0), 0.0, atol=1e-9)


@pytest.mark.parametrize(
    "mirror", [np.array([[0.0, 1.0], [1.0, 0.0]]), np.diag([1.0, -1.0])]
)
def test_swapped_or_reversed_axes_are_recognised(mirror):
    rng = np.random.default_rng(5)
    survey = surveyed(PLAN @ mirror) + rng.normal(scale=3, size=PLAN.shape)
    assert fit_control(PLAN, survey).sense is AxisSense.MIRRORED


def test_points_in_one_line_leave_the_orientation_undetermined():
    line = PLAN[[0, 1]]
    assert fit_control(line, surveyed(line)).sense is AxisSense.UNDETERMINED


@pytest.mark.parametrize("points", [PLAN[:0], PLAN[:1], np.full((3, 2), 7.0)])
def test_too_little_control_is_refused(points):
    with pytest.raises(EngineError):
        fit_control(points, points)


def test_inputs_are_left_as_they_are():
    plan, survey = PLAN.copy(), surveyed(PLAN)
    before = survey.copy()
    fit_control(plan, survey)
    np.testing.assert_array_equal(plan, PLAN)
    np.testing.assert_array_equal(survey, before)


def test_shapes_that_do_not_agree_are_a_mistake():
    with pytest.raises(ValueError, match=r"\(n, 2\)"):
        fit_control(PLAN, PLAN[:3])
