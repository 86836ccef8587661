"""Check keys: written and parsed in one place."""

import copy
import json
import pickle

import pytest

from jobs.anchor_plan.check_keys import CheckKey, CheckKeyError, CheckKind, kind_of
from jobs.anchor_plan.check_sheet import build_check_sheet
from tests.jobs.exchange.example import plan

KEYS = [
    ("setback:S1.2", CheckKind.SETBACK, "S1", (2,), None, ()),
    ("gage:S.1.1-12", CheckKind.GAGE, "S.1", (1, 12), None, ()),
    ("line:A 3", CheckKind.LINE, "A 3", (), None, ()),
    ("level:a-b.c", CheckKind.LEVEL, "a-b.c", (), None, ()),
    ("plumb:S1.along", CheckKind.PLUMB, "S1", (), "along", ()),
    ("diagonal:SW-NE", CheckKind.DIAGONAL, None, (), None, ("SW", "NE")),
    ("notch_depth:A-B", CheckKind.NOTCH_DEPTH, None, (), None, ("A", "B")),
    ("bay:S1-S2", CheckKind.BAY, None, (), None, ()),
    ("span:S-1-N1", CheckKind.SPAN, None, (), None, ()),
    ("wall:A-B-C", CheckKind.WALL, None, (), None, ()),
    ("benchmark:pin: north", CheckKind.BENCHMARK, None, (), None, ()),
]


@pytest.mark.parametrize(("text", "kind", "mark", "rods", "axis", "corners"), KEYS)
def test_a_key_is_its_text_and_knows_its_parts(text, kind, mark, rods, axis, corners):
    key = CheckKey(text)
    assert key == text
    assert (key.kind, key.mark, key.rods) == (kind, mark, rods)
    assert (key.axis, key.corners) == (axis, corners)
    assert key.subject == text.partition(":")[2]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "setback",
        "reach:S1",
        "setback:S1",
        "setback:S1.0",
        "setback:.1",
        "gage:S1.2",
        "plumb:S1.up",
        "wall:A",
        "bay:S1",
        "bay:S1-",
        "span:-S1",
        "line:",
    ],
)
def test_text_that_lacks_a_part_is_no_key(text):
    with pytest.raises(CheckKeyError):
        CheckKey(text)


def test_a_bay_knows_its_marks_unless_hyphens_leave_them_open():
    assert CheckKey("bay:S1-S2").marks == ("S1", "S2")
    assert CheckKey("span:S.1-N 2").marks == ("S.1", "N 2")
    assert CheckKey("bay:S-1-S-2").marks == ()
    assert CheckKey.for_pair(CheckKind.SPAN, ("S1", "N1")) == "span:S1-N1"


def test_every_key_of_a_sheet_parses_to_the_check_it_names():
    for check in build_check_sheet(plan()):
        key = CheckKey(str(check.key))
        assert (key.kind, key.mark, key.rods) == (check.kind, check.mark, check.rods)


def test_a_key_survives_copying_pickling_and_json():
    key = CheckKey.for_rod(CheckKind.OFFSET, "S1", 3)
    for copied in (copy.deepcopy(key), pickle.loads(pickle.dumps(key))):  # noqa: S301
        assert copied == "offset:S1.3"
        assert copied.rods == (3,)
    assert json.dumps({key: key}) == '{"offset:S1.3": "offset:S1.3"}'
    assert {"offset:S1.3": 1}[key] == 1


def test_the_kind_is_known_of_what_is_no_key_yet():
    assert kind_of("setback:nowhere") is CheckKind.SETBACK
    assert kind_of("setback") is None
    assert kind_of("reach:S1.1") is None
