"""The figures of the methods' examples, against published ones and by hand.

Marks: [S] seen in the text itself, [S2] seen in a secondary place, [M hi] remembered
with high confidence. The published figures are typed again here, from their sources.
"""

import math

import pytest

from checks.methods.catalogue import find_method, list_methods
from checks.methods.model import ExampleResult

PUBLISHED = [
    # course slides on taping, slideplayer.com/13085605 [S2], in feet
    ("tape-own-length", "Corrected length", 500.10, 0.005),
    ("tape-temperature", "Correction", -0.11, 0.005),
    ("tape-temperature", "Corrected length", 368.39, 0.005),
    ("tape-sag", "Correction", -0.71, 0.005),
    ("tape-slope", "Horizontal distance", 298.86, 0.005),
    # a tape maker's technical page [S2], in mm
    ("tape-pull", "Correction", 3.47, 0.005),
    # Ghilani and Wolf, Elementary Surveying, example 6.1 [M hi], in m
    ("tape-together", "Standardisation", 0.0325, 0.00005),
    ("tape-together", "Temperature", -0.0048, 0.00005),
    ("tape-together", "Tension", 0.0030, 0.00005),
    ("tape-together", "Sag", -0.0504, 0.00005),
    ("tape-together", "Corrected distance", 81.131, 0.0005),
    # ACI 117-10, 2.3.4.2 [S2]: 1/4 in for 3/4 in rods, 3/8 in for 1 in, in mm
    ("tolerance-limits", "Rod of 3/4 in, ACI 117", 6.35, 1e-9),
    ("tolerance-limits", "Rod of 1 in, ACI 117", 9.525, 1e-9),
    # Benning, 2011, example 8-2, quoted in Krumm, 2020 [S2], in m and mm
    ("outline", "Point 3, x", -0.0096, 0.00005),
    ("outline", "Point 3, y", -0.0226, 0.00005),
    ("outline", "Point 4, x", 999.9930, 0.00005),
    ("outline", "Point 4, y", 0.0174, 0.00005),
    ("outline", "Standard deviation of 3, x", 9.01, 0.005),
    ("outline", "Standard deviation of 3, y", 6.37, 0.005),
    # AISC 360-16 Table J3.4 [S2]: 1 in and 1 1/4 in, in mm
    ("edge-distance", "Edge needed, 3/4 in rod", 25.4, 1e-9),
    ("edge-distance", "Edge needed, 1 in rod", 31.75, 1e-9),
    # AISC Design Guide 1, 2nd ed., Table 2.3 [S2]: 2 in by 1/4 in, in mm
    ("covering-washer", "Washer over the hole", 50.8, 1e-9),
    ("covering-washer", "Its thickness", 6.35, 1e-9),
    # Ghilani, Adjustment Computations, 5th ed., example 12.6, in Krumm [S2], m and mm
    ("level-lines", "Height of B", 448.1087, 0.00005),
    ("level-lines", "Height of C", 453.4685, 0.00005),
    ("level-lines", "Height of D", 444.9436, 0.00005),
    ("level-lines", "Standard deviation of B", 2.30, 0.005),
    ("level-lines", "Standard deviation of C", 2.64, 0.005),
    ("level-lines", "Standard deviation of D", 1.76, 0.005),
    # Niemeier, Ausgleichungsrechnung, 2nd ed., pp. 153-156, in Krumm [S2], m
    ("level-lines", "Height of 1", 68.9235, 0.00005),
    ("level-lines", "Height of 2", 60.7153, 0.00005),
    ("level-lines", "Height of 3", 63.1938, 0.00005),
    ("level-lines", "Height of 4", 56.2838, 0.00005),
    ("level-lines", "Height of 5", 44.3226, 0.00005),
    # worked questions on the two-peg test, curioustab.com [S2], m
    ("collimation", "Collimation", 0.05, 1e-9),
    ("collimation", "Corrected reading on A", 1.105, 1e-9),
    ("collimation", "Corrected reading on B", 1.345, 1e-9),
    # course notes on levelling [S2]: 0.420 m, cut off, 0.4206 computed again
    ("curvature", "Reads high at 2.5 km by", 0.420, 0.001),
    # ASME B18.2.2 [S2]: 0.758 in, in mm
    ("thread-check", "Maximum nut thickness", 0.758 * 25.4, 1e-9),
    # ASME B1.1, tabulated [S2], in in2, to the last digit printed
    ("stress-area", "Stress area, 3/4 in", 0.334, 0.001),
    ("stress-area", "Stress area, 1 in", 0.606, 0.001),
    # a design guide to ACI 318-19 chapter 17, 2025, pp. 73 and 86 [S2], in pounds
    ("re-anchor", "Breakout, first", 47_405.0, 0.6),
    ("re-anchor", "Breakout, second", 18_313.0, 0.6),
    ("re-anchor", "Edge factor", 0.978, 0.0005),
    # course notes on maturity, civinnovate [S2], °C days
    ("maturity", "Maturity", 728.0, 1e-9),
]


def results_of(slug: str) -> dict[str, ExampleResult]:
    method = find_method(slug)
    assert method is not None
    return {
        result.label: result
        for example in method.examples
        for result in example.results
    }


@pytest.mark.parametrize(("slug", "label", "published", "off"), PUBLISHED)
def test_what_is_computed_is_what_was_published(slug, label, published, off):
    result = results_of(slug)[label]
    assert result.computed.value == pytest.approx(published, abs=off)
    assert result.published is not None
    assert result.published.value == pytest.approx(published, abs=1e-9)


def test_every_published_figure_that_is_shown_is_typed_here_once_more():
    shown = {
        (method.slug, result.label)
        for method in list_methods()
        for example in method.examples
        for result in example.results
        if result.published is not None
    }
    assert shown == {(slug, label) for slug, label, *_ in PUBLISHED}


def test_a_published_figure_has_its_source_beside_it():
    for method in list_methods():
        for example in method.examples:
            assert not (example.has_published_results and example.source is None), (
                method.slug
            )


@pytest.mark.parametrize("slug", [method.slug for method in list_methods()])
def test_what_is_computed_is_what_comes_out_by_hand(slug):
    for result in results_of(slug).values():
        found, hand = result.computed, result.by_hand
        if hand is None:
            continue
        if math.isnan(hand.value):
            assert (found.text, found.verdict) == (hand.text, hand.verdict)
        else:
            off = pytest.approx(hand.value, rel=result.hand_tolerance, abs=1e-8)
            assert found.value == off, result.label


def test_a_way_by_hand_leaves_out_next_to_nothing():
    left_out = {
        (method.slug, label): result.hand_tolerance
        for method in list_methods()
        for label, result in results_of(method.slug).items()
    }
    assert max(left_out.values()) <= 0.02


def test_no_label_of_a_method_stands_for_two_results():
    for method in list_methods():
        labels = [result.label for each in method.examples for result in each.results]
        assert len(labels) == len(set(labels)), method.slug
