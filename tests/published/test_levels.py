"""Levelling against published nets and worked examples, and against statsmodels.

Nets from F. Krumm, Geodetic Network Adjustment Examples, Univ. Stuttgart, rev. 3.5
(2020), which quotes the textbooks named below. "Recomputed" numbers were worked out
apart from this program.
"""

import numpy as np
import pytest
import statsmodels.api as sm

from checks.engine.levelling.level_network import adjust_height_differences
from checks.engine.levelling.levels import adjust_levels
from checks.engine.levelling.line_of_sight import (
    CURVATURE_AND_REFRACTION,
    compute_collimation,
    compute_sight_corrections,
)


class GhilaniExample126:
    """C. D. Ghilani, Adjustment Computations, 5th ed. (2010), ex. 12.6, p. 218.

    Points A, B, C, D as 0 to 3; A fixed at 437.596 m.
    """

    start = np.array([0, 1, 2, 3, 1, 0])
    end = np.array([1, 2, 3, 0, 3, 2])
    dh = np.array([10.509, 5.360, -8.523, -7.348, -3.167, 15.881])
    sd = np.array([0.006, 0.004, 0.005, 0.003, 0.004, 0.012])
    fixed = {0: 437.596}  # noqa: RUF012 -- a worked example, never changed


class NiemeierLevelNet:
    """W. Niemeier, Ausgleichungsrechnung, 2nd ed. (2008), pp. 153-156.

    Points 1 to 6 as 0 to 5; point 6 fixed at 67.228 m; 1 mm per root km.
    """

    start = np.array([1, 1, 2, 2, 3, 3, 3, 4, 5]) - 1
    end = np.array([2, 3, 3, 4, 4, 5, 6, 5, 6]) - 1
    dh = np.array(
        [-8.206, -5.734, 2.481, -4.433, -6.909, -18.872, 4.035, -11.962, 22.904]
    )
    per_km = np.array([1.61, 0.83, 2.22, 1.25, 1.00, 0.91, 2.27, 1.39, 1.20])
    fixed = {5: 67.228}  # noqa: RUF012 -- a worked example, never changed


def adjust_ghilani():
    net = GhilaniExample126
    return adjust_height_differences(net.start, net.end, net.dh, net.sd**-2, net.fixed)


def adjust_niemeier():
    net = NiemeierLevelNet
    return adjust_height_differences(
        net.start, net.end, net.dh, net.per_km * 1e6, net.fixed
    )


def test_ghilani_heights_and_their_sigmas():
    found = adjust_ghilani()
    # published
    assert found.height[1:] == pytest.approx([448.1087, 453.4685, 444.9436], abs=5e-5)
    sd = found.sigma[1:] * found.reference_sigma * 1e3
    assert sd == pytest.approx([2.30, 2.64, 1.76], abs=5e-3)
    # recomputed
    assert found.height[1:] == pytest.approx(
        [448.10871, 453.46847, 444.94361], abs=5e-6
    )
    assert found.reference_sigma == pytest.approx(0.6512, abs=5e-5)


def test_ghilani_residuals_redundancy_and_w():
    found = adjust_ghilani()
    # recomputed
    v = [3.712, -0.244, -1.862, 0.395, 1.894, -8.532]
    r = [0.6549, 0.3294, 0.5092, 0.1877, 0.4326, 0.8862]
    w = [0.764, -0.106, -0.522, 0.304, 0.720, -0.755]
    assert found.residual * 1e3 == pytest.approx(v, abs=5e-4)
    assert found.redundancy == pytest.approx(r, abs=5e-5)
    assert found.w == pytest.approx(w, abs=5e-4)


def test_niemeier_heights_and_their_sigmas():
    found = adjust_niemeier()
    # published
    heights = [68.9235, 60.7153, 63.1938, 56.2838, 44.3226]
    assert found.height[:5] == pytest.approx(heights, abs=5e-5)
    sd = found.sigma[:5] * found.reference_sigma * 1e3
    assert sd == pytest.approx([3.12, 2.60, 1.97, 2.63, 2.30], abs=5e-3)
    # recomputed
    assert found.reference_sigma == pytest.approx(3.394, abs=5e-4)
    assert found.degrees_of_freedom == 4


def test_niemeier_w_statistics_name_the_gross_errors():
    found = adjust_niemeier()
    # recomputed
    w = [-5.246, 5.246, -6.134, 2.577, -1.198, 0.945, -2.367, 1.383, 2.367]
    assert found.w == pytest.approx(w, abs=5e-4)


def test_the_two_lines_to_one_point_are_inseparable():
    # recomputed: 1-2 with 1-3, and 3-6 with 5-6
    w = np.abs(adjust_niemeier().w)
    assert w[0] == pytest.approx(w[1], abs=1e-9)
    assert w[6] == pytest.approx(w[8], abs=1e-9)


@pytest.mark.parametrize(
    ("weighted", "heights", "s0"),
    [
        (False, [105.141, 104.483, 106.188], 0.050),
        (True, [105.150, 104.489, 106.197], 0.107),
    ],
)
def test_the_classroom_net_of_wolf_and_ghilani(weighted, heights, s0):
    # Chapter 12; data from memory (high confidence), answers recomputed.
    # X, Y, A, B, C as 0 to 4; X 100.00, Y 107.50.
    start, end = [0, 2, 1, 4, 2, 1, 3], [2, 1, 4, 0, 3, 3, 4]
    dh = [5.10, 2.34, -1.25, -6.13, -0.68, -3.00, 1.70]
    length = np.array([4, 3, 2, 3, 2, 2, 2])
    weight = 12 / length if weighted else np.ones(7)
    found = adjust_height_differences(start, end, dh, weight, {0: 100.0, 1: 107.5})
    assert found.height[2:] == pytest.approx(heights, abs=5e-4)
    assert found.reference_sigma == pytest.approx(s0, abs=5e-4)


@pytest.mark.parametrize("adjust", [adjust_ghilani, adjust_niemeier])
def test_nets_agree_with_statsmodels(adjust):
    net = GhilaniExample126 if adjust is adjust_ghilani else NiemeierLevelNet
    weight = net.sd**-2 if adjust is adjust_ghilani else net.per_km * 1e6
    found = adjust()
    (known, height), points = *net.fixed.items(), found.height.size
    design = np.zeros((net.dh.size, points))
    design[np.arange(net.dh.size), net.end] = 1
    design[np.arange(net.dh.size), net.start] = -1
    free = np.delete(np.arange(points), known)
    fit = sm.WLS(net.dh - design[:, known] * height, design[:, free], weight).fit()
    assert found.height[free] == pytest.approx(fit.params, abs=1e-9)
    assert found.sigma[free] * found.reference_sigma == pytest.approx(fit.bse, abs=1e-9)
    assert -found.residual == pytest.approx(fit.resid, abs=1e-9)


def test_set_ups_agree_with_statsmodels():
    # Our own readings: three set-ups over five pads, nine of them seen twice.
    rng = np.random.default_rng(11)
    setup = np.repeat([0, 1, 2], 4)
    point = np.array([0, 1, 2, 3, 2, 3, 4, 0, 4, 0, 1, 2])
    sigma = rng.uniform(0.5, 2.0, setup.size)
    reading = 1400 + 90 * setup - 3.0 * point + rng.normal(0, 1, setup.size)
    design = np.zeros((setup.size, 4 + 3))  # pads 1 to 4 above pad 0, then set-ups
    rows = np.arange(setup.size)
    design[rows[point > 0], point[point > 0] - 1] = -1
    design[rows, 4 + setup] = 1
    fit = sm.WLS(reading, design, sigma**-2).fit()
    found = adjust_levels(reading, setup, point, sigma)
    assert found.height_mm[1:] == pytest.approx(fit.params[:4], abs=1e-7)
    a_posteriori = found.sigma_mm[1:] * found.reference_sigma
    assert a_posteriori == pytest.approx(fit.bse[:4], abs=1e-7)
    assert -found.residual_mm == pytest.approx(fit.resid, abs=1e-7)


def test_two_peg_test_with_the_level_beyond_the_near_peg():
    # curioustab.com: pegs 80 m apart; midway A 1.32, B 1.56; 10 m beyond A 1.11, 1.39.
    # Published: 0.05 m per 100 m; correct readings B 1.345, A 1.105.
    c = compute_collimation(1110, 1390, 10e3, 90e3, 1560 - 1320)
    assert c == pytest.approx(0.05 / 100)
    readings = np.array([1110.0, 1390.0])
    corrected = readings + compute_sight_corrections([10e3, 90e3], [0, 0], c)
    curvature = CURVATURE_AND_REFRACTION * np.array([10e3, 90e3]) ** 2
    assert corrected + curvature == pytest.approx([1105, 1345], abs=1e-9)


def test_two_peg_test_from_known_levels():
    # curioustab.com: sights 25 and 50 m, readings 2.847 and 3.462, levels 0.630 apart.
    # Published: 0.060 m per 100 m (the size; which way hangs on which peg is which).
    c = compute_collimation(2847, 3462, 25e3, 50e3, 630)
    assert abs(c) == pytest.approx(0.060 / 100)


def test_curvature_less_refraction():
    # civinnovate (second-hand): 2.5 km gives 0.420 m; recomputed 0.4206
    lift = -compute_sight_corrections([0.0, 2.5e6], [0, 0])
    assert lift == pytest.approx([0, 420.6], abs=0.05)
    # 0.0785 less 0.0112 m per km**2; earth radius 6371 km, refraction a seventh
    assert pytest.approx(0.0785 - 0.0112, abs=1e-12) == CURVATURE_AND_REFRACTION * 1e9
    physical = (1 - 1 / 7) / (2 * 6.371e9)
    assert pytest.approx(physical, rel=1e-3) == CURVATURE_AND_REFRACTION
    # 200 ft sight: 0.0008 ft (recomputed)
    feet = CURVATURE_AND_REFRACTION * (200 * 304.8) ** 2 / 304.8
    assert feet == pytest.approx(0.0008, abs=5e-5)
