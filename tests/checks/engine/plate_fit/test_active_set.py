"""Newton's last steps reach what the interior point method reaches, more closely."""

import numpy as np
import pytest

from checks.engine.plate_fit import interior_point
from checks.engine.plate_fit.batch import PROOF_TOLERANCE_MM
from checks.engine.plate_fit.plate import COUNTED, HELD, fit_plates

FOUR = np.array([[-65.0, -75.0], [65.0, -75.0], [-65.0, 75.0], [65.0, 75.0]])


def crooked(count: int, seed: int, m: int = 4) -> tuple[np.ndarray, np.ndarray]:
    """Holes and rods a few millimetres off; of m rods, m - 4 stand further out."""
    rng = np.random.default_rng(seed)
    ring = 200.0 * np.exp(2j * np.pi * np.arange(m - 4) / max(m - 4, 1))
    pattern = np.concatenate((FOUR, np.stack((ring.real, ring.imag), axis=1)))
    holes = np.broadcast_to(pattern, (count, m, 2))
    return holes, holes + rng.normal(0.0, 2.0, (count, m, 2))


def slowly(monkeypatch: pytest.MonkeyPatch, *args: object, **more: object) -> object:
    """The same fit by the interior point method to the end."""
    with monkeypatch.context() as patch:
        patch.setattr(interior_point, "POLISH_AT_STEPS", ())
        return fit_plates(*args, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("m", [4, 9])
@pytest.mark.parametrize("limit", [None, 0.4, 3.0])
def test_the_interference_is_that_of_the_interior_point_method(
    monkeypatch: pytest.MonkeyPatch, m: int, limit: float | None
) -> None:
    holes, rods = crooked(40, 3, m)
    clearance = np.random.default_rng(4).uniform(1.0, 3.0, (40, m))
    limits = None if limit is None else np.full((40, 2), limit)
    quick = fit_plates(holes, rods, clearance, None, limits)
    slow = slowly(monkeypatch, holes, rods, clearance, None, limits)
    np.testing.assert_allclose(
        quick.interference_mm, slow.interference_mm, rtol=0, atol=PROOF_TOLERANCE_MM
    )
    assert (quick.proven == slow.proven).all()


def test_held_rods_stay_held(monkeypatch: pytest.MonkeyPatch) -> None:
    holes, rods = crooked(40, 5)
    clearance = np.full((40, 4), 3.0)
    role = np.tile([COUNTED, HELD, HELD, HELD], (40, 1))
    quick = fit_plates(holes, rods, clearance, role=role)
    slow = slowly(monkeypatch, holes, rods, clearance, role=role)
    able = np.isfinite(slow.interference_mm)
    assert (np.isfinite(quick.interference_mm) == able).all()
    np.testing.assert_allclose(
        quick.interference_mm[able],
        slow.interference_mm[able],
        rtol=0,
        atol=PROOF_TOLERANCE_MM,
    )


def test_it_saves_most_of_the_steps(monkeypatch: pytest.MonkeyPatch) -> None:
    taken = []
    step = interior_point._take_step

    def counted(*args: object) -> object:
        taken.append(1)
        return step(*args)  # type: ignore[arg-type]

    monkeypatch.setattr(interior_point, "_take_step", counted)
    holes, rods = crooked(60, 7)
    clearance = np.full((60, 4), 2.4)
    fit_plates(holes, rods, clearance)
    quick = len(taken)
    slowly(monkeypatch, holes, rods, clearance)
    assert quick <= (len(taken) - quick) / 2


@pytest.mark.parametrize("clearance", [0.0, 2.4])
def test_rods_in_the_middle_of_their_holes_are_no_trouble(clearance: float) -> None:
    fit = fit_plates(FOUR[None], FOUR[None], np.full((1, 4), clearance))
    np.testing.assert_allclose(fit.interference_mm, -clearance, atol=1e-6)
    assert fit.proven.all()


def test_the_bottom_is_proved_far_closer_than_it_has_to_be() -> None:
    holes, rods = crooked(200, 11)
    fit = fit_plates(holes, rods, np.full((200, 4), 2.4))
    assert fit.gap_mm.max() < 1e-8
