"""Levels, shims and high pads."""

from math import erf, sqrt

import numpy as np

from checks.engine.arrays import FloatArray, IntArray
from checks.engine.levelling.datum import SPREADS_MM, estimate_datum
from checks.engine.levelling.level_network import adjust_height_differences
from checks.engine.levelling.levels import adjust_levels
from checks.engine.levelling.line_of_sight import (
    compute_collimation,
    compute_sight_corrections,
)
from checks.methods.example_values import (
    INCH_MM,
    build_result,
    describe_input,
    show_value,
    write_text,
)
from checks.methods.examples.shims import (
    calculate_high_pad as calculate_high_pad,
)
from checks.methods.examples.shims import (
    calculate_pack_list as calculate_pack_list,
)
from checks.methods.examples.shims import (
    calculate_stacks as calculate_stacks,
)
from checks.methods.model import Calculation
from checks.tolerances.limits import resolve_limits
from jobs.anchor_plan.values import ToleranceSpec

PLATES_MM = np.array([1.0, 2.0, 4.0]) * INCH_MM / 16.0
WITHOUT_NOISE_MM = 1e-6
"""Standard uncertainty with which an example by hand takes its readings."""

SHORTFALLS_MM = np.array([12.0, 10.0, 7.0]) * INCH_MM / 32.0


def calculate_two_setups() -> Calculation:
    """Adjust two set-ups."""
    # The set-ups disagree by 1/8 in on their common pads: that is the misclosure.
    first, second = np.array([60.0, 62.0, 61.0]), np.array([70.0, 72.125, 74.0])
    read = np.concatenate([first, second]) * INCH_MM
    computed = adjust_levels(read, [0, 0, 0, 1, 1, 1], [0, 1, 2, 0, 1, 3], 1.0)
    height, _ = computed.relative_to(0)
    limit = resolve_limits(ToleranceSpec()).level_misclosure()
    apart = (second[1] - second[0] - first[1] + first[0]) * INCH_MM
    two = -((first[1] - first[0]) + (second[1] - second[0])) / 2.0 * INCH_MM
    by_hand = (
        two,
        two / 2.0 + (first[:2].mean() - first[2]) * INCH_MM,
        two / 2.0 + (second[:2].mean() - second[2]) * INCH_MM,
    )
    return Calculation(
        inputs=(
            describe_input(
                "Set-up 1 on pads 1, 2, 3",
                "{:length}; {:length}; {:length}",
                *first * INCH_MM,
            ),
            describe_input(
                "Set-up 2 on pads 1, 2, 4",
                "{:length}; {:length}; {:length}",
                *second * INCH_MM,
            ),
        ),
        steps=(
            write_text(
                "Pad 2 below pad 1: {:length} and {:length}, the mean {:length}.",
                (first[1] - first[0]) * INCH_MM,
                (second[1] - second[0]) * INCH_MM,
                -two,
            ),
            write_text("The two differ by {:length}: the misclosure.", apart),
            write_text(
                "In set-up 1 pad 3 is level with the mean of pads 1 and 2: {:+length}.",
                by_hand[1],
            ),
            write_text(
                "In set-up 2 pad 4 is {:length} below that mean: {:+length}.",
                (second[2] - second[:2].mean()) * INCH_MM,
                by_hand[2],
            ),
        ),
        results=(
            *(
                build_result(
                    f"Height of pad {i + 2} from pad 1", "+length", height[i + 1], hand
                )
                for i, hand in enumerate(by_hand)
            ),
            build_result("Misclosure", "length", computed.misclosure_mm, apart),
            build_result("Allowed", "length", limit),
            build_result(
                "The set-ups", "within", computed.misclosure_mm <= limit, apart <= limit
            ),
        ),
    )


def calculate_two_pads() -> Calculation:
    """Compare two pads whose readings differ by more than the limit."""
    sigma, low = 1.0, 5.0 / 32.0 * INCH_MM
    limit = resolve_limits(ToleranceSpec()).pad_level()
    computed = estimate_datum([0.0, -low], sigma, limit)
    # Two pads keep their readings but for the widest spread of the grid.
    shrink = SPREADS_MM[-1] ** 2 / (SPREADS_MM[-1] ** 2 + sigma**2)
    depth, apart = shrink * low, sigma * sqrt(2.0 * shrink)
    within = 0.5 * (1.0 + erf((limit - depth) / apart / sqrt(2.0)))
    return Calculation(
        inputs=(
            describe_input("The second pad reads lower by", "{:length}", low),
            describe_input("Standard uncertainty of a reading", "{:fine}", sigma),
            describe_input("Allowed below the highest", "{:length}", limit),
        ),
        steps=(
            write_text(
                "Two pads all but keep their readings, {:fine} apart; it has"
                " √2 times their uncertainty: {:fine}.",
                depth,
                apart,
            ),
            write_text(
                "The chance of lying within the limit is that of a normal value below"
                " {:+2}.",
                (limit - depth) / apart,
            ),
        ),
        results=(
            build_result(
                "Depth", "fine", computed.depth_mm[1], depth, hand_tolerance=1e-6
            ),
            build_result(
                "Probability within",
                "2",
                computed.probability_within[1],
                within,
                hand_tolerance=1e-3,
            ),
            build_result("The second pad", "within", bool(within >= 0.5), low <= limit),
        ),
    )


def calculate_misclosure() -> Calculation:
    """Find the largest misclosure of two set-ups on three pads."""
    first, second = np.array([60.0, 60.0, 60.0]), np.array([70.0, 70.125, 70.25])
    read = np.concatenate([first, second]) * INCH_MM
    computed = adjust_levels(read, [0, 0, 0, 1, 1, 1], [0, 1, 2, 0, 1, 2], 1.0)
    difference = (second - first) * INCH_MM
    return Calculation(
        inputs=(
            describe_input(
                "Set-up 1 on pads A, B, C",
                "{:length}; {:length}; {:length}",
                *first * INCH_MM,
            ),
            describe_input(
                "Set-up 2 on pads A, B, C",
                "{:length}; {:length}; {:length}",
                *second * INCH_MM,
            ),
        ),
        steps=(
            write_text(
                "Set-up 2 less set-up 1: {:length} on A, {:length} on B,"
                " {:length} on C.",
                *difference,
            ),
            write_text(
                "Loops A-B and B-C do not close by {:length} each, loop A-C by"
                " {:length}: the largest.",
                difference[1] - difference[0],
                difference[2] - difference[0],
            ),
        ),
        results=(
            build_result(
                "Misclosure",
                "length",
                computed.misclosure_mm,
                difference.max() - difference.min(),
            ),
        ),
    )


def _list_lines(
    start: IntArray, end: IntArray, difference: FloatArray, names: str = "123456"
) -> str:
    """Write the lines of a network, its points numbered from 1."""
    return "; ".join(
        f"{names[a - 1]} to {names[b - 1]} {show_value(dh, '+3').text}"
        for a, b, dh in zip(start, end, difference, strict=True)
    )


def calculate_six_lines() -> Calculation:
    """Adjust a published level network."""
    start, end = np.array([0, 1, 2, 3, 1, 0]), np.array([1, 2, 3, 0, 3, 2])
    difference = np.array([10.509, 5.360, -8.523, -7.348, -3.167, 15.881])
    sd = np.array([0.006, 0.004, 0.005, 0.003, 0.004, 0.012])
    computed = adjust_height_differences(start, end, difference, sd**-2, {0: 437.596})
    published = {"B": (448.1087, 2.30), "C": (453.4685, 2.64), "D": (444.9436, 1.76)}
    return Calculation(
        inputs=(
            describe_input("Benchmark A", "437.596 m"),
            describe_input(
                "Lines, in m", "{}", _list_lines(start + 1, end + 1, difference, "ABCD")
            ),
            describe_input("Standard deviations, in mm", "6, 4, 5, 3, 4, 12"),
        ),
        steps=(
            write_text("3 unknown heights, 6 lines: redundancy 3."),
            write_text(
                "The weight of a line is 1 over the square of its standard deviation."
            ),
        ),
        results=(
            *(
                build_result(
                    f"Height of {name}", "4 m", computed.height[i], published=at
                )
                for i, (name, (at, _)) in enumerate(published.items(), start=1)
            ),
            *(
                build_result(
                    f"Standard deviation of {name}",
                    "2 mm",
                    1e3 * computed.sigma[i] * computed.reference_sigma,
                    published=deviation,
                )
                for i, (name, (_, deviation)) in enumerate(published.items(), start=1)
            ),
        ),
    )


class NiemeierNetwork:
    """The lines of a published network, points 1 to 6."""

    start = np.array([1, 1, 2, 2, 3, 3, 3, 4, 5])
    end = np.array([2, 3, 3, 4, 4, 5, 6, 5, 6])
    difference = np.array(
        [-8.206, -5.734, 2.481, -4.433, -6.909, -18.872, 4.035, -11.962, 22.904]
    )
    per_km = np.array([1.61, 0.83, 2.22, 1.25, 1.00, 0.91, 2.27, 1.39, 1.20])


def calculate_erring_line() -> Calculation:
    """Adjust a published level network with a mistake."""
    # One line of the published network is wrong: its statistic stands out.
    net = NiemeierNetwork
    computed = adjust_height_differences(
        net.start - 1, net.end - 1, net.difference, net.per_km * 1e6, {5: 67.228}
    )
    published = (68.9235, 60.7153, 63.1938, 56.2838, 44.3226)
    worst = int(np.argmax(np.abs(computed.w)))
    return Calculation(
        inputs=(
            describe_input("Benchmark 6", "67.228 m"),
            describe_input(
                "Lines, in m", "{}", _list_lines(net.start, net.end, net.difference)
            ),
            describe_input(
                "Weights, per km", "{}", ", ".join(f"{one:.2f}" for one in net.per_km)
            ),
            describe_input("Standard deviation", "1 mm for 1 km"),
        ),
        steps=(
            write_text("5 unknown heights, 9 lines: redundancy 4."),
            write_text(
                "Lines 1-2 and 1-3 have the same |w|, {:3}: point 1 has no other"
                " line, so a mistake cannot be assigned to one of them.",
                abs(computed.w[0]),
            ),
        ),
        results=(
            *(
                build_result(
                    f"Height of {i + 1}", "4 m", computed.height[i], published=at
                )
                for i, at in enumerate(published)
            ),
            build_result("Largest w, line 2-3", "3", computed.w[worst]),
        ),
    )


def calculate_two_pegs() -> Calculation:
    """Calculate a collimation error."""
    near, far, at = 1110.0, 1390.0, np.array([10.0, 90.0])
    computed = float(
        compute_collimation(near, far, at[0] * 1e3, at[1] * 1e3, 1560.0 - 1320.0)
    )
    read = np.array([near, far])
    corrected = read + compute_sight_corrections(at * 1e3, [0, 1], computed)
    return Calculation(
        inputs=(
            describe_input("Midway, on A and B", "1.320 m and 1.560 m"),
            describe_input("From beyond A, on A and B", "1.110 m and 1.390 m"),
            describe_input("Sight distances from there", "10 m and 90 m"),
        ),
        steps=(
            write_text("True difference: 1.560 − 1.320 = 0.240 m."),
            write_text("Apparent: 1.390 − 1.110 = 0.280 m."),
            write_text("(0.280 − 0.240) ÷ (90 − 10) = 0.04 ÷ 80."),
        ),
        results=(
            build_result(
                "Collimation",
                "3 m per 100 m",
                computed * 100.0,
                0.04 / 80.0 * 100.0,
                published=0.05,
                published_spec="2 m per 100 m",
            ),
            build_result(
                "Corrected reading on A",
                "3 m",
                corrected[0] / 1e3,
                1.110 - 0.0005 * 10.0,
                published=1.105,
            ),
            build_result(
                "Corrected reading on B",
                "3 m",
                corrected[1] / 1e3,
                1.390 - 0.0005 * 90.0,
                published=1.345,
            ),
        ),
    )


def calculate_curvature() -> Calculation:
    """Calculate curvature and refraction."""
    # The far sight is the published one, the near one shows that a site need not care.
    far = compute_sight_corrections([0.0, 2.5e6], [0, 0])
    site = compute_sight_corrections([0.0, 100e3], [0, 0])
    return Calculation(
        inputs=(
            describe_input("Far sight", "2.5 km, the other 0"),
            describe_input("On site", "100 m, the other 0"),
        ),
        steps=(
            write_text("0.0673 × 2.5² = {:3 m}.", 0.0673 * 2.5**2),
            write_text("0.0673 × 0.1² = {:3 mm}.", 67.3 * 0.1**2),
        ),
        results=(
            build_result(
                "Reads high at 2.5 km by",
                "3 m",
                -far[1] / 1e3,
                0.0673 * 2.5**2,
                published=0.420,
            ),
            build_result("Reads high at 100 m by", "3 mm", -site[1], 67.3 * 0.1**2),
        ),
    )
