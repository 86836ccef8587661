"""Rates of misread walls and diagonals: how many are noticed, how many accused.

`python -m tests.bench.outline_errors [--each 3000] [--buildings 60]` prints, for
rectangles of four sizes and an L shape, the share of outlines in which a misreading of
1/2 in and of 1 in on a diagonal, a long wall and a short wall is noticed, and the share
in which an honest crew is told that its lengths contradict each other. Then it counts
how often the evaluation proposes to square up on a misread diagonal, and how often on
concrete that really is out of square.

The truth: one tape whose scale lies anywhere within its class, and whose graduation
marks are off by anything within the constant part; a temperature within 10 degC of the
standard that nobody noted; noise of handling of 0.5, 1, 1.5 and 2 mm in equal parts;
readings to the sixteenth. All of this is a project choice, from no published source.
"""

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from checks.demo.plan_documents import INSTRUMENTS
from checks.engine.arrays import FloatArray, IntArray
from checks.engine.outline import adjust_outlines
from checks.engine.uncertainty import reading_uncertainty
from checks.evaluation.evaluate import evaluate
from jobs.exchange.input.parser import parse_building

INCH_MM, FOOT_MM = 25.4, 304.8
SIXTEENTH_MM = INCH_MM / 16.0
SIZES_FT = ((40, 30), (80, 50), (200, 100), (300, 150))
NOISES_MM = (0.5, 1.0, 1.5, 2.0)
CLASSES = {1: (0.1, 0.1), 2: (0.3, 0.2), 3: (0.6, 0.4)}  # a [mm], b [mm/m]
EXPANSION, UNKNOWN_C = 11.6e-6, 10.0
WALLS_AND_DIAGONALS = np.array([[0, 1], [1, 2], [2, 3], [3, 0], [0, 2], [1, 3]])
ELL_FT = np.array([[0, 0], [200, 0], [200, 60], [90, 60], [90, 100], [0, 100]], float)
ELL_DIAGONALS = ("02", "04", "24", "13", "35", "15", "03", "14", "25")


@dataclass(frozen=True, slots=True)
class Shape:
    """An outline and the lengths taped on it; `places` names those to misread."""

    name: str
    corners: FloatArray  # (n, 2) [mm]
    pairs: IntArray  # (m, 2)
    places: dict[str, int]

    @property
    def lengths(self) -> FloatArray:
        step = self.corners[self.pairs[:, 1]] - self.corners[self.pairs[:, 0]]
        return np.asarray(np.hypot(step[:, 0], step[:, 1]))


def build_rectangle(width_ft: float, depth_ft: float) -> Shape:
    """Build a rectangle with its walls and both diagonals."""
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], float)
    return Shape(
        f"{width_ft}x{depth_ft}",
        corners * np.array([width_ft, depth_ft]) * FOOT_MM,
        WALLS_AND_DIAGONALS,
        {"diagonal": 4, "long wall": 0, "short wall": 1},
    )


def build_ell() -> Shape:
    """Build an L shape with its walls and nine diagonals: six to spare."""
    walls = [[i, (i + 1) % 6] for i in range(6)]
    across = [[int(a), int(b)] for a, b in ELL_DIAGONALS]
    places = {"diagonal": 6, "long wall": 0, "short wall": 3}
    return Shape("L shape", ELL_FT * FOOT_MM, np.array([*walls, *across]), places)


def simulate_readings(
    shape: Shape,
    noise_mm: float,
    number: int,
    rng: np.random.Generator,
    accuracy_class: int = 2,
) -> FloatArray:
    """Read all lengths of many outlines, each with another tape and temperature."""
    fixed, per_metre = CLASSES[accuracy_class]
    size = (number, len(shape.lengths))
    scale = rng.uniform(-1.0, 1.0, (number, 1)) * per_metre / 1000.0
    heat = rng.uniform(-1.0, 1.0, (number, 1)) * EXPANSION * UNKNOWN_C
    read = shape.lengths * (1.0 + scale + heat)
    read = read + rng.uniform(-fixed, fixed, size) + noise_mm * rng.normal(size=size)
    return np.asarray(np.round(read / SIXTEENTH_MM) * SIXTEENTH_MM)


def count_noticed(
    shape: Shape, read: FloatArray, accuracy_class: int = 2
) -> tuple[FloatArray, FloatArray]:
    """Return which outlines contradict themselves, (b,), and what is named, (b, m)."""
    parts = reading_uncertainty(shape.lengths, SIXTEENTH_MM, accuracy_class, False)
    adjusted = adjust_outlines(
        np.broadcast_to(shape.corners, (len(read), *shape.corners.shape)),
        shape.pairs,
        read,
        parts.independent_mm,
        np.stack([parts.class_mm, parts.temperature_mm], axis=1),
    )
    noticed = adjusted.cannot_tell | adjusted.suspect.any(axis=1)
    return noticed, adjusted.suspect


def measure_detection(
    shape: Shape, place: str, error_mm: float, number: int, accuracy_class: int = 2
) -> tuple[float, float]:
    """Measure the shares of a misreading noticed, and named among the suspects."""
    index, noticed, named = shape.places[place], [], []
    for i, noise in enumerate(NOISES_MM):
        rng = np.random.default_rng((int(error_mm * 10), index, i))
        read = simulate_readings(shape, noise, number, rng, accuracy_class)
        read[:, index] += error_mm * rng.choice((-1.0, 1.0), number)
        seen, suspect = count_noticed(shape, read, accuracy_class)
        noticed.append(seen.mean())
        named.append(suspect[:, index].mean())
    return float(np.mean(noticed)), float(np.mean(named))


def measure_false_alarms(
    shape: Shape, number: int, accuracy_class: int = 2
) -> list[float]:
    """Measure the share of honest outlines called contradictory, by noise."""
    return [
        float(
            count_noticed(
                shape,
                simulate_readings(
                    shape, noise, number, np.random.default_rng((7, i)), accuracy_class
                ),
                accuracy_class,
            )[0].mean()
        )
        for i, noise in enumerate(NOISES_MM)
    ]


def count_square_ups(
    width_ft: float,
    depth_ft: float,
    number: int,
    *,
    misread_mm: float = 0.0,
    lean_mm: float = 0.0,
) -> dict[str, int]:
    """Count the first remedies of the finding on squareness over many buildings.

    `misread_mm` is added to one diagonal, or `lean_mm` to the difference of both.
    """
    shape = build_rectangle(width_ft, depth_ft)
    counts = {"none": 0, "remeasure": 0, "square_up": 0, "other": 0}
    for seed in range(number):
        rng = np.random.default_rng((seed, 11))
        noise = NOISES_MM[seed % len(NOISES_MM)]
        read = simulate_readings(shape, noise, 1, rng)[0]
        read[4] += misread_mm * rng.choice((-1.0, 1.0)) + lean_mm / 2.0
        read[5] -= lean_mm / 2.0
        findings = evaluate(parse_building(_write_document(shape, read)))["findings"]
        first = "none"
        for finding in findings:
            if finding["finding"] == "squareness":
                first = finding["remedies"][0]["remedy"]
        counts[first if first in counts else "other"] += 1
    return counts


def _write_document(shape: Shape, read: FloatArray) -> dict[str, Any]:
    """Write a building without positions, its lengths read with one tape."""
    names = "ABCDEF"[: len(shape.corners)]
    keys = [
        f"{'wall' if (i + 1) % len(names) == j else 'diagonal'}:{names[i]}-{names[j]}"
        for i, j in shape.pairs
    ]
    return {
        "format": "padstone.building/1",
        "name": "Outline",
        "length_unit": "mm",
        "outline": [
            {"corner": name, "x": float(x), "y": float(y)}
            for name, (x, y) in zip(names, shape.corners, strict=True)
        ],
        "details": {},
        "positions": [],
        "instruments": INSTRUMENTS,
        "readings": [
            {"id": key, "check": key, "value": f"{value / INCH_MM:.4f} in"}
            for key, value in zip(keys, read, strict=True)
        ],
    }


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--each", type=int, default=3000, help="outlines per rate")
    parser.add_argument("--buildings", type=int, default=60, help="square-up counts")
    parser.add_argument("--tape", type=int, default=2, help="accuracy class 1, 2 or 3")
    options = parser.parse_args(arguments)
    write = sys.stdout.write
    places = ("diagonal", "long wall", "short wall")
    write(f"{'noticed in 100':<16}")
    write("".join(f"{place + ' 1/2 in':>20}{'1 in':>8}" for place in places))
    write(f"{'honest, by noise of 0.5 1 1.5 2 mm':>40}{'mean':>8}\n")
    for shape in (*(build_rectangle(*size) for size in SIZES_FT), build_ell()):
        row = f"{shape.name:<16}"
        for place in places:
            for inches, width in ((0.5, 20), (1.0, 8)):
                noticed, named = measure_detection(
                    shape, place, inches * INCH_MM, options.each, options.tape
                )
                text = f"{100 * noticed:.0f}"
                text += f" ({100 * named:.0f})" if named else ""
                row += f"{text:>{width}}"
        alarms = measure_false_alarms(shape, options.each, options.tape)
        listed = " ".join(f"{100 * each:.2f}" for each in alarms)
        write(f"{row}{listed:>40}{100 * np.mean(alarms):>8.2f}\n")
        sys.stdout.flush()
    write("in brackets: the misread length is named\n\n")
    write(f"{'first remedy of ' + str(options.buildings):<30}")
    write(f"{'none':>8}{'remeasure':>11}{'square up':>11}\n")
    for size in SIZES_FT:
        for label, members in (
            ("diagonal misread 1/2 in", {"misread_mm": INCH_MM / 2.0}),
            ("diagonal misread 1 in", {"misread_mm": INCH_MM}),
            ("out of square by 2 in", {"lean_mm": 2.0 * INCH_MM}),
        ):
            counts = count_square_ups(*size, options.buildings, **members)
            write(f"{size[0]}x{size[1]} {label:<22}{counts['none']:>8}")
            write(f"{counts['remeasure']:>11}{counts['square_up']:>11}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
