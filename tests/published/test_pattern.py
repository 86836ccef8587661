"""Rod patterns against scipy's least squares (an outside program)."""

import numpy as np
from scipy.optimize import least_squares

from checks.engine.pattern import solve_patterns


def case(rng):
    """One pattern of 4 to 8 rods, with enough and some to spare."""
    k = int(rng.integers(4, 9))
    rows = np.stack(
        [np.tile([-60.0, 60.0], 4)[:k], 230.0 + 120.0 * (np.arange(k) // 2)], 1
    )
    plan = rows + rng.normal(scale=5, size=rows.shape)
    built = plan + rng.normal(scale=4, size=plan.shape)
    pairs = np.stack(np.triu_indices(k, 1), axis=1)
    length = np.linalg.norm(built[pairs[:, 1]] - built[pairs[:, 0]], axis=1)
    offsets = np.sort(rng.permutation(k)[:3])
    return {
        "plan": plan,
        "setback": (np.arange(k), built[:, 1] + rng.normal(scale=0.8, size=k), 0.8),
        "offset": (offsets, built[offsets, 0] + rng.normal(scale=0.6, size=3), 0.6),
        "gage": (
            pairs[:, 0],
            pairs[:, 1],
            length + rng.normal(scale=0.7, size=len(length)),
            rng.uniform(0.4, 1.2, len(length)),
        ),
    }


def misfit(flat, one):
    points = flat.reshape(-1, 2)
    rod, value, sigma = one["setback"]
    parts = [(points[rod, 1] - value) / sigma]
    rod, value, sigma = one["offset"]
    parts.append((points[rod, 0] - value) / sigma)
    i, j, value, sigma = one["gage"]
    parts.append((np.hypot(*(points[j] - points[i]).T) - value) / sigma)
    return np.concatenate(parts)


def test_patterns_with_gages_are_those_of_scipy():
    rng = np.random.default_rng(71)
    cases = [case(rng) for _ in range(25)]
    first = np.cumsum([0] + [len(one["plan"]) for one in cases])
    found = solve_patterns(
        np.concatenate([one["plan"] for one in cases]),
        np.repeat(np.arange(25), np.diff(first)),
        setback=joined(cases, first, "setback", 1),
        offset=joined(cases, first, "offset", 1),
        gage=joined(cases, first, "gage", 2),
    )
    assert found.determined.all()
    for k, one in enumerate(cases):
        mine = slice(first[k], first[k + 1])
        other = least_squares(
            misfit, one["plan"].ravel(), "3-point", args=(one,), xtol=1e-15, ftol=1e-15
        )
        # 1e-5 mm: as near as a search on the sum of squares comes
        np.testing.assert_allclose(found.rods_mm[mine].ravel(), other.x, atol=1e-5)
        cofactors = np.linalg.inv(other.jac.T @ other.jac)
        np.testing.assert_allclose(
            found.sigma_mm[mine].ravel(), np.sqrt(np.diag(cofactors)), rtol=1e-5
        )


def joined(cases, first, kind, ends):
    columns = []
    for at in range(ends):
        columns.append(
            np.concatenate(
                [one[kind][at] + f for one, f in zip(cases, first[:-1], strict=True)]
            )
        )
    value = np.concatenate([one[kind][ends] for one in cases])
    sigma = np.concatenate(
        [np.broadcast_to(one[kind][ends + 1], one[kind][ends].shape) for one in cases]
    )
    return (*columns, value, sigma)
