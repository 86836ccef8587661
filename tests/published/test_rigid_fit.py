"""The rigid fit against scikit-image and two routes of SciPy (outside programs)."""

import numpy as np
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation
from skimage.transform import EuclideanTransform

from checks.engine.rigid_fit import fit_rigid


def groups(seed=17, n=40, rods=4):
    rng = np.random.default_rng(seed)
    plan = rng.normal(scale=120, size=(n, rods, 2))
    turn = rng.uniform(-0.5, 0.5, n)
    c, s = np.cos(turn), np.sin(turn)
    matrix = np.stack([np.stack([c, -s], -1), np.stack([s, c], -1)], -2)
    built = np.einsum("gij,gnj->gni", matrix, plan) + rng.normal(
        scale=30, size=(n, 1, 2)
    )
    return (
        plan,
        built + rng.normal(scale=3, size=plan.shape),
        rng.uniform(0.1, 4, (n, rods)),
    )


def test_against_skimage_euclidean_transform():
    plan, built, _ = groups()
    found = fit_rigid(plan, built)
    for g, (p, m) in enumerate(zip(plan, built, strict=True)):
        other = EuclideanTransform.from_estimate(p, m)
        assert abs(found.rotation_rad[g] - other.rotation) < 1e-12
        np.testing.assert_allclose(found.residuals_mm[g], m - other(p), atol=1e-10)


def test_against_scipy_align_vectors_with_weights():
    plan, built, weight = groups()
    found = fit_rigid(plan, built, weight)
    for g in range(len(plan)):
        w = weight[g]
        p = plan[g] - np.average(plan[g], axis=0, weights=w)
        m = built[g] - np.average(built[g], axis=0, weights=w)
        flat = np.zeros((len(w), 1))
        # the plane's normal, weighted heavily, keeps the turn in the plane
        rotation, _ = Rotation.align_vectors(
            np.vstack([np.hstack([m, flat]), [0, 0, 1e6]]),
            np.vstack([np.hstack([p, flat]), [0, 0, 1e6]]),
            weights=np.append(w, 1.0),
        )
        assert abs(found.rotation_rad[g] - rotation.as_rotvec()[2]) < 1e-8


def test_against_scipy_least_squares_with_weights():
    plan, built, weight = groups(n=12)
    found = fit_rigid(plan, built, weight)
    for g in range(len(plan)):
        middle = plan[g].mean(axis=0)

        def misfit(x, g=g, middle=middle):
            c, s = np.cos(x[0]), np.sin(x[0])
            at = middle + x[1:] + (plan[g] - middle) @ np.array([[c, s], [-s, c]])
            return ((built[g] - at) * np.sqrt(weight[g])[:, None]).ravel()

        other = least_squares(
            misfit,
            np.zeros(3),
            x_scale=[0.01, 1, 1],
            xtol=1e-15,
            ftol=1e-15,
            gtol=1e-15,
        )
        # a search for a minimum stops at about the root of the machine's precision
        assert abs(found.rotation_rad[g] - other.x[0]) < 1e-8
        np.testing.assert_allclose(found.shift_mm[g], other.x[1:], atol=1e-5)
        assert np.sum(
            misfit(np.append(found.rotation_rad[g], found.shift_mm[g])) ** 2
        ) <= (2 * other.cost * (1 + 1e-12))
