"""Drawings in and out: round trips, and what other people's drawings hold."""

import io
from typing import Any

import ezdxf
import numpy as np
import pytest
from hypothesis import given, settings

from jobs.anchor_plan.geometry import rod_points
from jobs.anchor_plan.values import Plan
from jobs.exchange.dxf.drawing_shapes import MAX_ENTITIES, read_drawing
from jobs.exchange.dxf.plan_export import (
    DEVIATIONS,
    RODS_AS_BUILT,
    AsBuiltRod,
    write_plan_drawing,
)
from jobs.exchange.dxf.plan_import import DrawingOptions, import_plan_drawing
from jobs.exchange.imported_file import ImportedFile
from jobs.exchange.input.parser import parse_building
from jobs.exchange.issues import DocumentError
from jobs.exchange.tables.example_building import build_example_document
from tests.jobs.plan_strategies import plans

SAME_MM = 2e-5  # what a coordinate loses in a decimal text in inches


def read(content: bytes, base: Any = None, **choices: Any) -> ImportedFile:
    given = DrawingOptions(**{"name": "Shed", **choices})
    return import_plan_drawing(read_drawing(content), given, base)


def list_reported(found: ImportedFile) -> str:
    reported = (*found.ignored, *found.assumptions)
    return "\n".join(f"{each.where}: {each.message}" for each in reported)


def as_bytes(drawing: Any) -> bytes:
    out = io.StringIO()
    drawing.write(out)
    return out.getvalue().encode()


def assert_same_places(plan: Plan, other: Plan) -> None:
    """Corners, marks, details, rods and their sizes are where they were."""
    assert [c.name for c in plan.outline] == [c.name for c in other.outline]
    for corner, again in zip(plan.outline, other.outline, strict=True):
        assert np.hypot(corner.x - again.x, corner.y - again.y) < SAME_MM
    assert [p.mark for p in plan.positions] == [p.mark for p in other.positions]
    for position, again in zip(plan.positions, other.positions, strict=True):
        assert position.detail == again.detail
        detail, drawn = plan.details[position.detail], other.details[again.detail]
        assert detail.reference == drawn.reference
        np.testing.assert_allclose(
            rod_points(plan, position), rod_points(other, again), atol=SAME_MM
        )
        np.testing.assert_allclose(
            [rod.diameter for rod in detail.rods],
            [rod.diameter for rod in drawn.rods],
            atol=SAME_MM,
        )


def test_the_examples_drawing_reads_back_as_its_plan() -> None:
    plan = parse_building(build_example_document()).plan
    found = read(write_plan_drawing(plan)).parse_building().plan
    assert found.outline == plan.outline
    assert found.positions == plan.positions
    assert_same_places(plan, found)


@given(plans(readable_in_dxf=True))
@settings(max_examples=60, deadline=None)
def test_any_plans_drawing_reads_back_as_its_plan(document: Any) -> None:
    plan = parse_building(document).plan
    found = read(write_plan_drawing(plan)).parse_building().plan
    assert_same_places(plan, found)


@pytest.mark.parametrize("unit", ["in", "ft", "mm", "cm", "m"])
def test_a_drawing_is_sound_and_names_its_unit(unit: str) -> None:
    document = {**build_example_document(), "length_unit": unit}
    for corner, (x, y) in zip(
        document["outline"], [(0, 0), (40, 0), (40, 36), (0, 36)], strict=True
    ):
        corner |= {"x": f"{x} ft", "y": f"{y} ft"}
    plan = parse_building(document).plan
    built = [AsBuiltRod(6100.0, 180.0, 19.05, "A2.1 1/8 in along, outside")]
    content = write_plan_drawing(plan, built)
    drawing = ezdxf.read(io.StringIO(content.decode()))
    auditor = drawing.audit()
    assert not auditor.errors
    assert not auditor.fixes
    assert read_drawing(content).unit == unit
    (circle,) = drawing.modelspace().query(f'CIRCLE[layer=="{RODS_AS_BUILT}"]')
    scale = {"in": 25.4, "ft": 304.8, "mm": 1, "cm": 10, "m": 1000}[unit]
    assert circle.dxf.center.x * scale == pytest.approx(6100.0)
    (text,) = drawing.modelspace().query(f'TEXT[layer=="{DEVIATIONS}"]')
    assert text.dxf.text == "A2.1 1/8 in along, outside"
    assert_same_places(plan, read(content).parse_building().plan)


# Drawings from elsewhere


def other_drawing(units: int = 1) -> Any:
    """A 60 ft by 40 ft outline, clockwise, in inches; four rods at each of three."""
    drawing = ezdxf.new("R2010")
    drawing.units = units
    space = drawing.modelspace()
    space.add_lwpolyline(
        [(0, 0), (0, 480), (720, 480), (720, 0)],
        close=True,
        dxfattribs={"layer": "S-BLDG"},
    )
    for x, y, mark in ((240, 9, "A2"), (480, 9, "A3"), (360, 240, "K1")):
        for dx in (-2.5, 2.5):
            for dy in (-2.5, 2.5):
                space.add_circle((x + dx, y + dy), 0.375, {"layer": "S-BOLTS"})
        space.add_text(mark, dxfattribs={"insert": (x + 8, y + 20), "layer": "S-MARK"})
    return drawing


def test_loose_circles_become_positions_with_one_detail() -> None:
    found = read(as_bytes(other_drawing()))
    plan = found.parse_building().plan
    assert [corner.name for corner in plan.outline] == ["SE", "NE", "NW", "SW"]
    assert found.document["positions"] == [
        {"mark": "A2", "wall": "SW-SE", "along": "20'-0\"", "detail": "D1"},
        {"mark": "A3", "wall": "SW-SE", "along": "40'-0\"", "detail": "D1"},
        {
            "mark": "K1",
            "x": "30'-0\"",
            "y": "20'-0\"",
            "turn": "0 deg",
            "detail": "D2",
        },
    ]
    assert found.document["details"]["D1"]["rods"][0] == {
        "in": '6 1/2"',
        "along": '-2 1/2"',
        "diameter": '3/4"',
    }


def test_the_unit_can_be_chosen_where_the_header_has_none() -> None:
    content = as_bytes(other_drawing(units=0))
    with pytest.raises(DocumentError, match="does not name its unit"):
        read(content)
    plan = read(content, unit="in").parse_building().plan
    assert plan.outline[1].y == 480 * 25.4
    assert "check the drawing's unit" in list_reported(read(content, unit="mm"))


def test_layers_can_be_chosen_and_the_rest_is_listed() -> None:
    drawing = other_drawing()
    space = drawing.modelspace()
    square = [(-99, -99), (999, -99), (999, 999), (-99, 999)]
    space.add_lwpolyline(square, close=True, dxfattribs={"layer": "S-PROPERTY"})
    space.add_circle((360, 520), 18, {"layer": "S-BOLTS"})
    space.add_circle((100, 100), 0.5, {"layer": "S-CONDUIT"})
    space.add_line((0, 0), (9, 9), {"layer": "S-DIM"})
    space.add_text("20'-0\"", dxfattribs={"insert": (239, 12), "layer": "S-DIM"})
    found = read(as_bytes(drawing), outline="S-BLDG", rods="S-BOLTS")
    plan = found.parse_building().plan
    assert [each.mark for each in plan.positions] == ["A2", "A3", "K1"]
    listed = list_reported(found)
    assert "layer S-PROPERTY: 1 other closed polyline ignored." in listed
    assert "layer S-BOLTS: 1 circle ignored: too large for a rod." in listed
    assert "layer S-CONDUIT: 1 circle ignored: not on the layer" in listed
    assert "layer S-DIM: Ignored: 1 LINE." in listed
    assert "layer S-DIM: 1 text ignored." in listed


def test_rods_with_no_mark_nearby_are_named_and_told() -> None:
    drawing = other_drawing()
    for text in drawing.modelspace().query("TEXT"):
        if text.dxf.text != "A3":
            drawing.modelspace().delete_entity(text)
    found = read(as_bytes(drawing))
    assert [each["mark"] for each in found.document["positions"]] == ["P1", "A3", "P2"]
    assert list_reported(found).count("No mark is near these rods") == 2


def test_blocks_of_another_hand_stand_where_their_rods_are() -> None:
    drawing = other_drawing()
    space = drawing.modelspace()
    block = drawing.blocks.new("BASE-1")
    for dx in (-3, 3):
        for dy in (-3, 3):
            block.add_circle((dx, dy), 0.5, {"layer": "S-BOLTS"})
    space.add_blockref("BASE-1", (711, 240), {"rotation": 90})
    single = drawing.blocks.new("ROD-1")
    single.add_circle((0, 0), 0.375, {"layer": "S-BOLTS"})
    for x in (598, 602):
        space.add_blockref("ROD-1", (x, 8))
    found = read(as_bytes(drawing))
    plan = found.parse_building().plan
    assert sorted(len(plan.details[p.detail].rods) for p in plan.positions) == [
        2, 4, 4, 4, 4,
    ]  # fmt: skip
    base = next(each for each in plan.positions if each.detail == "BASE-1")
    assert base.wall == ("SE", "NE")
    assert base.along == pytest.approx(240 * 25.4)


def test_a_drawing_in_one_block_is_taken_apart() -> None:
    source = other_drawing()
    drawing = ezdxf.new("R2010")
    drawing.units = 1
    block = drawing.blocks.new("ALL")
    for entity in source.modelspace():
        block.add_foreign_entity(entity)
    drawing.modelspace().add_blockref("ALL", (1000, 2000))
    plan = read(as_bytes(drawing)).parse_building().plan
    assert plan.outline[3].x == 1000 * 25.4
    assert [each.mark for each in plan.positions] == ["A2", "A3", "K1"]


def test_coordinates_of_a_state_grid_are_moved_to_the_plan() -> None:
    drawing = other_drawing()
    for entity in drawing.modelspace():
        entity.translate(2.4e7, 8.1e6, 0)
    found = read(as_bytes(drawing))
    plan = found.parse_building().plan
    assert {(round(c.x), round(c.y)) for c in plan.outline} == {
        (0, 0), (0, 12192), (18288, 12192), (18288, 0),
    }  # fmt: skip
    assert "becomes 0, 0" in list_reported(found)
    assert plan.positions[0].along == pytest.approx(6096, abs=1e-3)


def test_what_is_no_outline_is_refused_by_its_handle_and_layer() -> None:
    drawing = ezdxf.new("R2010")
    drawing.units = 1
    drawing.modelspace().add_lwpolyline(
        [(0, 0, 0.5), (100, 0, 0), (100, 100, 0)],
        format="xyb",
        close=True,
        dxfattribs={"layer": "EDGE"},
    )
    with pytest.raises(DocumentError) as error:
        read(as_bytes(drawing))
    (fault,) = error.value.issues
    assert fault.where.startswith("LWPOLYLINE ")
    assert fault.where.endswith(" on layer EDGE")
    assert "straight edges only" in fault.message


def test_faults_of_the_plan_are_told_by_their_entity() -> None:
    drawing = other_drawing()
    drawing.modelspace().add_circle((242.5, 11.5), 0.375, {"layer": "S-BOLTS"})
    with pytest.raises(DocumentError) as error:
        read(as_bytes(drawing)).parse_building()
    (fault,) = error.value.issues
    assert fault.where.startswith("CIRCLE ")
    assert "at the same point as rod" in fault.message


def test_a_drawing_revises_what_it_shows_and_nothing_else() -> None:
    base = build_example_document()
    plan = parse_building(base).plan
    moved = {**base, "positions": [{**p} for p in base["positions"]]}
    moved["positions"][0]["along"] = "21'"
    content = write_plan_drawing(parse_building(moved).plan)
    found = read(content, base, name="")
    again = found.parse_building().plan
    assert again.positions[0].along == 21 * 304.8
    assert (again.name, again.concrete) == (plan.name, plan.concrete)
    assert again.details == plan.details
    assert again.diagonals == plan.diagonals


# Files that are none, or too large


@pytest.mark.parametrize("content", [b"", b"\x00\xff" * 50, b"0\nSECTION\n", b"{}"])
def test_what_is_no_drawing_is_refused_in_words(content: bytes) -> None:
    with pytest.raises(DocumentError):
        read(content)


def test_a_number_that_cannot_be_read_is_not_guessed() -> None:
    content = as_bytes(other_drawing())
    assert content.count(b"\n242.5\n") > 0
    with pytest.raises(DocumentError) as error:
        read(content.replace(b"\n242.5\n", b"\n24O.5\n", 1))
    (fault,) = error.value.issues
    assert fault.where.startswith("near line ")
    assert "“24O.5” is no number" in fault.message


@pytest.mark.parametrize("far", [1e300, float("inf")])
def test_what_stands_nowhere_is_refused_by_its_entity(far: float) -> None:
    drawing = other_drawing()
    drawing.modelspace().add_circle((far, 0), 0.4, {"layer": "S-BOLTS"})
    with pytest.raises(DocumentError):
        read(as_bytes(drawing))


def test_a_drawing_that_is_too_large_is_not_opened() -> None:
    with pytest.raises(DocumentError, match="at most 12 MB"):
        read(bytes(12_000_001))


def test_a_hatch_of_circles_is_no_anchor_plan() -> None:
    drawing = other_drawing()
    for n in range(90):
        drawing.modelspace().add_circle((100 + n / 10, 300), 0.2, {"layer": "HATCH"})
    with pytest.raises(DocumentError, match="Choose another layer") as error:
        read(as_bytes(drawing), rods="HATCH")
    assert error.value.issues[0].where.endswith("on layer HATCH")


def test_a_site_of_thousands_of_circles_is_no_building() -> None:
    drawing = other_drawing()
    for n in range(2001):
        drawing.modelspace().add_circle((50.0 * n, 9000), 0.4, {"layer": "TREES"})
    with pytest.raises(DocumentError, match="2001 positions; at most 2000"):
        read(as_bytes(drawing), rods="TREES")


def test_more_patterns_than_a_building_has_are_refused() -> None:
    drawing = other_drawing()
    for n in range(201):
        for x in (0.0, 3.0 + n / 100):
            at = (100.0 * n + x, 9000)
            drawing.modelspace().add_circle(at, 0.4, {"layer": "PAIRS"})
    with pytest.raises(DocumentError, match="more than 200 different rod patterns"):
        read(as_bytes(drawing), rods="PAIRS")


def test_blocks_that_multiply_are_stopped() -> None:
    drawing = ezdxf.new("R2010")
    drawing.units = 1
    inner = drawing.blocks.new("B0")
    for n in range(60):
        inner.add_line((0, n), (1, n))
    for level in range(1, 4):
        block = drawing.blocks.new(f"B{level}")
        for n in range(60):
            block.add_blockref(f"B{level - 1}", (n, 0))
    drawing.modelspace().add_blockref("B3", (0, 0))
    with pytest.raises(DocumentError, match=f"more than {MAX_ENTITIES} entities"):
        read(as_bytes(drawing))


def test_a_block_inside_itself_is_no_end_of_the_world() -> None:
    drawing = other_drawing()
    block = drawing.blocks.new("LOOP")
    block.add_blockref("LOOP", (1, 1))
    drawing.modelspace().add_blockref("LOOP", (0, 0))
    assert len(read(as_bytes(drawing)).parse_building().plan.positions) == 3
