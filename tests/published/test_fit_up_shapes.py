"""Fit-up of L shapes with mixed details and points, from documents, against cvxpy.

The reference is written from the document's numbers in shifts, turns and grid; of the
program it uses the list of neighbours alone. Turns are linear about 0 there: within
|h| (0.5 degree)^2 / 2, 0.01 mm.
"""

import copy
import json
import math

import cvxpy as cp
import numpy as np
import pytest

from jobs.anchor_plan.neighbours import find_bays, find_spans
from jobs.exchange.input.parser import parse_building_text
from tests.published.contract import (
    INCH,
    SQUARE,
    building,
    evaluate_document,
    read,
    read_rods,
    rods,
)

EIGHT = tuple((x, y) for y in (120.0, 200.0, 280.0, 360.0) for x in (-90.0, 90.0))
CORNERS = [(0, 0), (24, 0), (24, 9), (12, 9), (12, 18), (0, 18)]
PATTERN = {"Q": SQUARE, "H": EIGHT}
CLEARANCE = {"Q": 3.0, "H": 2.5}
# Mark, detail, origin and angle of the along axis on the plan. [mm, rad]
PLACES = [
    ("S1", "Q", (6000.0, 0.0), 0.0, "A-B", 6000),
    ("S2", "H", (18000.0, 0.0), 0.0, "A-B", 18000),
    ("M1", "Q", (18000.0, 9000.0), math.pi, "C-D", 6000),
    ("N1", "H", (6000.0, 18000.0), math.pi, "E-F", 6000),
    ("K1", "Q", (6000.0, 9000.0), math.pi / 6, None, 0),
]


def build_l_shape(rng, size):
    """Return an L-shaped building as read, and each rod's deviation. [mm]"""
    details = {
        name: {
            "reference": "centreline",
            "plate": {
                "hole_diameter": f"{20 + 2 * CLEARANCE[name]} mm",
                "edge_distance": "45 mm",
            },
            "rods": rods(*PATTERN[name]),
        }
        for name in PATTERN
    }
    positions = [
        {"mark": mark, "detail": detail}
        | (
            {"wall": wall, "along": along}
            if wall
            else {"x": origin[0], "y": origin[1], "turn": "30 deg"}
        )
        for mark, detail, origin, _, wall, along in PLACES
    ]
    outline = [
        {"corner": name, "x": x * 1000, "y": y * 1000}
        for name, (x, y) in zip("ABCDEF", CORNERS, strict=True)
    ]
    document = building(outline=outline, details=details, positions=positions)
    deviations = []
    for mark, detail, _, _, wall, along in PLACES:
        planned = np.array(PATTERN[detail])
        line = rng.normal(0, size) if wall else 0.0
        built = planned + rng.normal(0, size, 2) + rng.normal(0, 0.6, planned.shape)
        if wall:
            read(document, f"line:{mark}", along + line, temperature="20 degC")
        read_rods(document, mark, [tuple(map(float, each)) for each in built])
        deviations.append(built - planned + np.array([line, 0.0]))
    return document, deviations


def solve_with_cvxpy(document, deviations):
    """Return the least misfit of the document's plates. [mm]"""
    plan = parse_building_text(json.dumps(document)).plan
    n, limit = len(PLACES), INCH / 8
    s, alpha, grid, t = (
        cp.Variable((n, 2)),
        cp.Variable(n),
        cp.Variable(3),
        cp.Variable(),
    )
    axes, holes, centres = [], [], []
    for _, detail, origin, angle, _, _ in PLACES:
        cos, sin = math.cos(angle), math.sin(angle)
        axes.append(np.array([(cos, sin), (-sin, cos)]))
        centre = np.mean(PATTERN[detail], axis=0)
        holes.append(np.array(PATTERN[detail]) - centre)
        centres.append(np.array(origin) + centre @ axes[-1])
    arms = np.array(centres) - np.mean(centres, axis=0)
    # u is the shift against the grid on plan axes.
    move = [grid[:2] + grid[2] * np.array([-y, x]) for x, y in arms]
    u = [axes[p].T @ s[p] - move[p] for p in range(n)]
    rules = []
    for p, (_, detail, *_) in enumerate(PLACES):
        for (x, y), rod in zip(holes[p], deviations[p], strict=True):
            miss = s[p] + alpha[p] * np.array([-y, x]) - rod
            rules.append(cp.norm(miss) <= CLEARANCE[detail] + t)
        rules.append(cp.abs(axes[p] @ u[p]) <= limit)
    rules.append(cp.abs(alpha - grid[2]) <= math.radians(0.5))
    for pair in (*find_bays(plan), *find_spans(plan)):
        apart = np.array(pair.direction) @ (u[pair.second] - u[pair.first])
        rules.append(cp.abs(apart) <= limit)
    reach = np.hypot(*arms.T).max()
    rules += [cp.abs(grid[:2]) <= INCH / 4, cp.abs(grid[2]) * reach <= INCH / 4]
    return float(cp.Problem(cp.Minimize(t), rules).solve(solver=cp.CLARABEL))


@pytest.mark.parametrize("size", [0.5, 2.0, 4.0])
@pytest.mark.parametrize("seed", range(3))
def test_an_l_shape_of_mixed_details_has_the_misfit_of_cvxpy(seed, size):
    document, deviations = build_l_shape(np.random.default_rng(seed), size)
    fit_up = evaluate_document(copy.deepcopy(document))["fit_up"]
    assert fit_up["not_included"] == []
    want = solve_with_cvxpy(document, deviations)
    assert fit_up["misfit"] == pytest.approx(want, abs=0.015)
