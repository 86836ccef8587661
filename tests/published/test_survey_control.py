"""A survey brought onto the plan, against scikit-image (an outside program)."""

from fractions import Fraction

import numpy as np
from skimage.transform import EuclideanTransform, SimilarityTransform

from checks.engine.survey_control import fit_control, transform_to_plan
from core.units import MM_PER_SURVEY_FOOT


def surveys(seed=29, n=30):
    """Outlines somewhere on a state grid, turned, and surveyed with errors."""
    rng = np.random.default_rng(seed)
    for _ in range(n):
        plan = rng.uniform(0, 60_000, (rng.integers(3, 12), 2))
        turn, shift = rng.uniform(-np.pi, np.pi), rng.uniform(-2e8, 9e8, 2)
        c, s = np.cos(turn), np.sin(turn)
        survey = shift + plan @ np.array([[c, s], [-s, c]])
        yield plan, survey + rng.normal(scale=3, size=plan.shape), rng


def test_rotation_and_residuals_against_euclidean_transform():
    for plan, survey, rng in surveys():
        found = fit_control(plan, survey)
        # a local origin keeps the other program's digits
        other = EuclideanTransform.from_estimate(survey - survey[0], plan)
        assert abs(np.sin(found.rotation_rad - other.rotation)) < 1e-9
        fitted = other(survey - survey[0])
        np.testing.assert_allclose(found.residuals_mm, fitted - plan, atol=1e-5)
        more = survey[0] + rng.uniform(-9e4, 9e4, (5, 2))
        np.testing.assert_allclose(
            transform_to_plan(found, more), other(more - survey[0]), atol=1e-4
        )


def test_the_scale_against_similarity_transform():
    """Umeyama (1991) scales by the singular values, and so does scikit-image."""
    for plan, survey, _ in surveys(seed=31):
        found = fit_control(plan, survey * 1.0007)
        local = (survey - survey[0]) * 1.0007
        other = SimilarityTransform.from_estimate(local, plan)
        assert abs(found.scale - other.scale) < 1e-9
        assert abs(np.sin(found.rotation_rad - other.rotation)) < 1e-9


def test_the_survey_foot_is_1200_over_3937_metres():
    """NIST SP 811 (2008), B.6 [M hi]: 0.304 800 6 m to seven figures."""
    assert Fraction(1200, 3937) * 1000 == MM_PER_SURVEY_FOOT
    assert round(float(MM_PER_SURVEY_FOOT), 4) == 304.8006
