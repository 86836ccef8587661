"""Every basis says where its values come from, and overrides win."""

import math
from itertools import chain

import numpy as np
import pytest

from checks.tolerances.basis import (
    BASIS_NAMES,
    DEFAULT_BASIS,
    ToleranceError,
    load_basis,
)
from checks.tolerances.limits import (
    GROUP_RULE_KEYS,
    RULE_KEYS,
    WALL_FLOOR_KEY,
    ZERO_ALLOWED_KEYS,
    resolve_limits,
)
from jobs.anchor_plan.values import ToleranceSpec
from jobs.exchange import vocabulary

MARKS = {
    "published",
    "published, seen second-hand",
    "from memory",
    "common practice",
    "project choice",
}


def limits(basis=DEFAULT_BASIS, **overrides):
    return resolve_limits(ToleranceSpec(basis=basis, overrides=overrides))


@pytest.mark.parametrize("name", BASIS_NAMES)
def test_every_value_of_a_basis_has_a_source_and_a_mark(name):
    basis = load_basis(name)
    assert basis.name == name
    assert basis.title
    assert basis.notes
    for rule in chain(basis.rules.values(), basis.groups.values()):
        assert rule.source, rule.key
        assert rule.provenance in MARKS, rule.key
        assert rule.key in (*RULE_KEYS, *GROUP_RULE_KEYS)
    for entry in basis.not_used:
        assert entry.source
        assert entry.reason
        assert entry.provenance in MARKS


@pytest.mark.parametrize("name", BASIS_NAMES)
def test_no_value_remembered_with_less_than_high_confidence_carries_a_limit(name):
    basis = load_basis(name)
    for rule in chain(basis.rules.values(), basis.groups.values()):
        if rule.provenance == "from memory":
            assert rule.confidence == "high", rule.key


@pytest.mark.parametrize("name", BASIS_NAMES)
def test_every_basis_answers_every_question(name):
    found = limits(name)
    assert set(RULE_KEYS) <= {rule.key for rule in found}
    assert all(rule.provenance for rule in found)
    for key in RULE_KEYS:
        assert found.value(key) > 0
        assert found.source(key)
    assert found.diagonal(np.array([20e3, 40e3])).shape == (2,)
    assert found.wall([20e3]).shape == (1,)
    assert np.all(np.isfinite(found.rod_location([12.7, 19.05, 80.0])))
    lower, upper = found.projection()
    assert lower < 0 < upper


def test_a_rule_taken_from_the_default_basis_says_so():
    found = limits("aci-117-2010")
    assert found.source("line") == (
        "common practice (metal-building-practice; aci-117-2010 has no rule)"
    )
    assert found.source("projection") == "ACI 117-10 2.3.4.1"


def test_the_default_basis_has_no_group_rules():
    assert not set(GROUP_RULE_KEYS) & {rule.key for rule in limits()}
    assert limits().find_rule("adjacent_groups") is None
    assert limits("aisc-303-2010").find_rule("adjacent_groups") is not None


def test_an_override_wins_and_is_named_as_such():
    found = limits(rod_location=4.7625)
    assert found.rod_location([19.05]).tolist() == [4.7625]
    assert found.as_result()["rod_location"] == {
        "value": 4.7625,
        "source": "override",
        "mark": "override",
    }
    assert found.source("line") == "common practice"


@pytest.mark.parametrize("key", ["diagonals", "wall"])
def test_an_override_of_a_rate_is_a_flat_length(key):
    found = limits(**{key: 5.0})
    one = found.diagonal if key == "diagonals" else found.wall
    assert one([1000.0, 90e3]).tolist() == [5.0, 5.0]


def test_the_floor_of_a_wall_is_overridden_by_itself():
    found = limits(wall_floor=1.0)
    assert found.wall([3048.0, 15240.0]) == pytest.approx([1.27, 6.35])
    assert found.source("wall").endswith("floor: override")
    assert limits(wall_floor=1.0, wall=5.0).wall([3048.0]).tolist() == [5.0]
    assert limits(wall_floor=0.0).wall([0.0]).tolist() == [0.0]


def test_shims_and_slots_may_be_ruled_out_altogether():
    found = limits(shim_up_to=0.0, re_anchor_beyond=0.0)
    assert found.shim_up_to() == 0.0
    assert found.re_anchor_beyond() == 0.0


def test_the_exchange_document_names_the_same_tolerances():
    assert vocabulary.TOLERANCE_BASES == BASIS_NAMES
    named = {
        *vocabulary.OVERRIDE_LENGTHS,
        *vocabulary.OVERRIDE_RATIOS,
        *vocabulary.OVERRIDE_ANGLES,
    }
    assert named == {*RULE_KEYS, *GROUP_RULE_KEYS, WALL_FLOOR_KEY}
    assert vocabulary.ZERO_ALLOWED_OVERRIDES == ZERO_ALLOWED_KEYS


def test_an_override_of_the_projection_holds_either_way():
    assert limits("en-1090-2-2008").projection() == (-5.0, 45.0)
    assert limits("en-1090-2-2008", projection=8.0).projection() == (-8.0, 8.0)


def test_overrides_may_add_a_group_rule_the_basis_lacks():
    found = limits(group_centre=6.0)
    assert found.value("group_centre") == 6.0


def test_ratios_are_overridden_plainly():
    found = limits(strength_ratio=0.8, plumb=1 / 300)
    assert found.strength_ratio() == 0.8
    assert found.plumb() == 1 / 300


def test_the_turn_of_a_plate_is_half_a_degree_or_the_buildings_own():
    assert limits().column_turn() == pytest.approx(math.radians(0.5), rel=1e-15)
    assert limits("aisc-303-2010").column_turn() == limits().column_turn()
    assert limits(column_turn=0.02).column_turn() == 0.02
    assert limits().as_result()["column_turn"]["mark"] == "project choice"


def test_an_unknown_basis_is_refused_with_the_names_there_are():
    with pytest.raises(ToleranceError, match="aisc-303-2010"):
        limits("house-rules")


def test_an_unknown_override_is_refused_with_the_names_there_are():
    with pytest.raises(ToleranceError, match="rod_location"):
        limits(rod_placement=3.0)


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_a_limit_that_is_no_limit_is_refused(value):
    with pytest.raises(ToleranceError, match="line"):
        limits(line=value)


def test_a_diameter_between_listed_ones_goes_by_the_smaller():
    found = limits("aci-117-2010")
    got = found.rod_location([22.225, 24.0, 25.4, 28.575, 44.0, 44.45, 63.5])
    assert got.tolist() == [6.35, 6.35, 9.525, 9.525, 9.525, 12.7, 12.7]


def test_a_diameter_the_standard_does_not_list_goes_by_the_default_basis():
    found = limits("aisc-303-2016")
    assert found.rod_location([15.875, 19.0, 63.6]).tolist() == [3.175] * 3
    assert "does not list" in found.source("rod_location")


def test_the_result_document_carries_value_and_source_of_every_rule():
    document = limits("aisc-303-2010").as_result()
    assert document.pop("basis") == "aisc-303-2010"
    for entry in document.values():
        assert entry["value"] > 0
        assert entry["source"]
        assert entry["mark"]
    assert document["accumulated"]["cap"] == 25.4


def test_a_basis_is_read_once():
    assert load_basis(DEFAULT_BASIS) is load_basis(DEFAULT_BASIS)
