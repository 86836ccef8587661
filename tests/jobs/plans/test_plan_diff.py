import copy

from jobs.exchange.input.parser import parse_building
from jobs.plans.detail_drawing import draw_detail
from jobs.plans.plan_diff import PlanChange, compare_plans
from tests import example_buildings


def changes(change, **members):
    """Change the shed in place by `change` and list what differs."""
    old = example_buildings.shed(**members)
    new = copy.deepcopy(old)
    change(new)
    return compare_plans(parse_building(old).plan, parse_building(new).plan)


def words(found: tuple[PlanChange, ...]):
    return [(each.subject, each.name, each.what) for each in found]


def test_the_same_plan_in_other_units_has_no_changes():
    def in_metric(document):
        document["length_unit"] = "mm"
        for corner in document["outline"]:
            corner["x"], corner["y"] = corner["x"] * 304.8, corner["y"] * 304.8

    assert changes(in_metric) == ()


def test_positions_are_told_as_added_removed_moved_and_changed():
    def change(document):
        positions = document["positions"]
        document["details"]["W"] = copy.deepcopy(document["details"]["M"])
        positions[0]["along"] = "3'"
        positions[1]["detail"] = "W"
        del positions[2]
        positions.append(
            {"mark": "K", "x": "30'", "y": "20'", "turn": "0 deg", "detail": "M"}
        )

    assert words(changes(change)) == [
        ("position", "S3", "removed"),
        ("position", "S1", "moved"),
        ("position", "S2", "changed"),
        ("position", "K", "added"),
        ("detail", "W", "added"),
    ]


def test_a_changed_rod_is_told_with_both_figures():
    def change(document):
        document["details"]["M"]["rods"][2]["in"] = '12 1/4"'

    (found,) = changes(change)
    (difference,) = found.differences
    assert (difference.name, difference.before, difference.after) == (
        "rod 3 in",
        "1\N{PRIME}-0\N{DOUBLE PRIME}",
        "1\N{PRIME}-0 1\N{FRACTION SLASH}4\N{DOUBLE PRIME}",
    )


def test_figures_that_differ_by_less_than_is_drawn_are_written_apart():
    def change(document):
        document["outline"][1]["x"] = "20116.81 mm"

    found = changes(change)
    difference = found[0].differences[0]
    assert difference.before == "20116.800000 mm"
    assert difference.after == "20116.810000 mm"


def test_what_is_added_to_or_taken_from_the_plan_around_the_positions_is_told():
    def change(document):
        del document["notch"]
        document["tolerances"] = {
            "basis": "aisc-303-2010",
            "overrides": {"plumb": "1/400"},
        }
        document["concrete"]["specified_strength"] = "4000 psi"
        document["shim_thicknesses"] = ['1/4"']

    found = changes(change)
    assert words(found) == [
        ("notch", "", "removed"),
        ("tolerances", "", "changed"),
        ("concrete", "", "changed"),
        ("shims", "", "changed"),
    ]
    assert [each.name for each in found[1].differences] == ["basis", "plumb"]


def test_a_detail_is_drawn_to_scale_with_its_rows_measured_from_the_steel_line():
    plan = parse_building(example_buildings.shed()).plan
    drawing = draw_detail(plan.details["M"])
    first, second, third, _ = drawing.rods
    scale = (second.x - first.x) / (5 * 25.4)
    assert abs((first.y - third.y) - 5 * 25.4 * scale) < 0.05
    assert abs((drawing.steel_line.y1 - first.y) - 7 * 25.4 * scale) < 0.05
    assert abs(first.radius - 0.375 * 25.4 * scale) < 0.05
    assert [round(line.label.length / 25.4, 6) for line in drawing.rows] == [7, 12]
    assert [round(line.label.length / 25.4, 6) for line in drawing.offsets] == [
        -2.5,
        2.5,
    ]
