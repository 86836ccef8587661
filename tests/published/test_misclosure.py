"""The largest misclosure of a level net, against networkx and by hand.

The two worked examples were computed apart from this program, by listing every simple
loop; the loops of random nets are listed by `networkx.simple_cycles` (D. B. Johnson,
"Finding all the elementary circuits of a directed graph", SIAM J. Comput. 4, 1975).
"""

import json

import networkx as nx
import numpy as np
import pytest

from checks.engine.levelling.levels import adjust_levels
from checks.engine.levelling.misclosure import find_largest_misclosure
from tests.published.contract import building, evaluate_document, read

NAN = np.nan

# Set-ups in rows, points in columns; larger = lower. [mm]
THREE_PADS = [[0.0, 0.0, 0.0], [0.0, 4.0, 8.0]]
# BM, A, B, C, D
THREE_SETUPS = [
    [1500, 1210, 1215, 1212, NAN],
    [NAN, 1390, 1397, NAN, 1401],
    [1590, NAN, 1305, 1300, 1311],
]


def edges(table):
    table = np.asarray(table, dtype=float)
    setup, point = np.nonzero(~np.isnan(table))
    return table[setup, point], setup, point


def all_loops(table):
    """Every simple loop of a net: its misclosure in size, and its nodes."""
    table = np.asarray(table, dtype=float)
    graph = nx.Graph()
    for s, p in np.argwhere(~np.isnan(table)).tolist():
        graph.add_edge(("set-up", s), ("point", p))
    for loop in nx.simple_cycles(graph):
        start = 0 if loop[0][0] == "set-up" else 1
        nodes = [loop[(start + i) % len(loop)] for i in range(len(loop))]
        total = 0.0
        for i in range(0, len(nodes), 2):
            (_, s), (_, p), (_, t) = nodes[i], nodes[i + 1], nodes[(i + 2) % len(nodes)]
            total += table[s, p] - table[t, p]
        yield abs(total), nodes


def test_one_pair_of_set_ups_has_the_range_of_its_differences():
    # {AB, BC} has 4 and 4, {AB, AC} 4 and 8: the largest of a basis is not unique
    found = adjust_levels(*edges(THREE_PADS), 1.0)
    assert found.misclosure_mm == pytest.approx(8.0)
    assert found.loops == 2
    assert found.residual_mm == pytest.approx([-2, 0, 2, 2, 0, -2])
    assert max(size for size, _ in all_loops(THREE_PADS)) == 8.0


def test_the_largest_of_three_set_ups_is_a_loop_of_six_edges():
    found = adjust_levels(*edges(THREE_SETUPS), 1.0)
    assert found.misclosure_mm == pytest.approx(4.0)  # 1-B-2-D-3-C
    assert found.loops == 4
    loops = sorted(all_loops(THREE_SETUPS), key=lambda loop: loop[0])
    assert len(loops) == 12
    assert loops[-1][0] == 4.0
    assert loops[-2][0] < 4.0
    assert len(loops[-1][1]) == 6
    pairs = [size for size, nodes in loops if len(nodes) == 4]
    assert max(pairs) == 2.0  # no pair of set-ups shows it


def test_a_basis_of_loops_would_miss_it():
    graph = nx.Graph(
        (f"set-up {s}", f"point {p}")
        for s, p in np.argwhere(~np.isnan(np.array(THREE_SETUPS))).tolist()
    )
    assert {len(loop) for loop in nx.minimum_cycle_basis(graph)} == {4}


@pytest.mark.parametrize("order", ["ABC", "ACB", "BAC", "BCA", "CAB", "CBA"])
def test_the_misclosure_of_a_building_does_not_depend_on_the_order(order):
    """B first gave 4.0, `within`, and shims."""
    document = building()
    along = {"A": 4000, "B": 9000, "C": 15000}
    document["positions"] = [
        {"mark": mark, "wall": "A-B", "along": along[mark], "detail": "Q"}
        for mark in order
    ]
    for mark in order:
        read(document, f"level:{mark}", 1400, setup="1")
    for mark, more in zip("ABC", (0, 4, 8), strict=True):
        read(document, f"level:{mark}", 1400 + more, setup="2")
    levels = evaluate_document(json.loads(json.dumps(document)))["levels"]
    assert levels["misclosure"] == pytest.approx(8.0)
    assert levels["verdict"] == "remeasure"


def random_table(rng, setups, points, share):
    table = rng.normal(0, 2, (setups, points))
    table[rng.random(table.shape) > share] = np.nan
    return table


@pytest.mark.parametrize("seed", range(60))
def test_random_nets_against_every_loop_listed_by_networkx(seed):
    rng = np.random.default_rng(seed)
    setups, points = [(2, 9), (3, 6), (4, 5), (5, 5)][seed % 4]
    table = random_table(rng, setups, points, 0.5 + 0.3 * rng.random())
    found = find_largest_misclosure(*edges(table))
    assert found.complete
    expected = max((size for size, _ in all_loops(table)), default=0.0)
    assert found.misclosure_mm == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("setups", [3, 12, 40])
def test_a_ring_of_set_ups_has_its_one_long_loop(setups):
    rng = np.random.default_rng(setups)
    table = np.full((setups, setups), np.nan)
    at = np.arange(setups)
    table[at, at] = rng.normal(0, 2, setups)
    table[at, (at + 1) % setups] = rng.normal(0, 2, setups)
    found = find_largest_misclosure(*edges(table))
    ((expected, _),) = all_loops(table)
    assert found.misclosure_mm == pytest.approx(expected)
    assert len(found.setups) == setups
    assert found.complete
