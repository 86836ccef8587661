import numpy as np

from checks.engine.plate_fit import slot_search
from checks.engine.plate_fit.plate import COUNTED, HELD

FOUR = np.array([[-51.0, -63.0], [51.0, -63.0], [51.0, 63.0], [-51.0, 63.0]])


def plates(n=8):
    rng = np.random.default_rng(71)
    return slot_search.SlotPlates(
        holes_mm=np.repeat(FOUR[None], n, axis=0),
        rods_mm=FOUR
        + rng.normal(0.0, 1.5, (n, 4, 2))
        + [[0, 0], [0, 0], [4, 0], [0, 4]],
        clearance_mm=np.full((n, 4), 2.0),
        real=np.ones((n, 4), dtype=bool),
        limit_mm=np.full((n, 2), 3.0),
    )


def test_bisection_agrees_with_holding_the_shut_holes():
    some = plates()
    sets = np.tile([False, False, True, True], (8, 1))
    held = some.fit(np.where(sets, COUNTED, HELD))
    solved = np.flatnonzero(
        np.isfinite(held.interference_mm) & (held.interference_mm > 1e-3)
    )
    assert solved.size > 3
    answer = held.interference_mm.copy()
    slot_search._bisect_extension(some.take(solved), sets[solved], held, solved)
    np.testing.assert_allclose(held.interference_mm, answer, atol=2e-6)
