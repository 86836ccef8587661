"""Three invented buildings and results in the shape of `padstone.result/1`.

A result is put together here by hand from a few chosen deviations, so that drawings
can be tested without any of the arithmetic.
"""

import math
from typing import Any

import numpy as np

from core.units import parse_length
from jobs.anchor_plan.geometry import list_walls, wall_length
from jobs.anchor_plan.values import Corner, Detail, Notch, Plan, Plate, Position, Rod

INCH = 25.4
FOOT = 304.8


def detail(
    name: str = "P", *, unit: float = INCH, rods: int = 4, reference: str = "centreline"
) -> Detail:
    rows = [9.0, 14.0, 19.0][: rods // 2]
    places = [(along, row) for row in rows for along in (-2.0, 2.0)]
    return Detail(
        name=name,
        reference=reference,  # type: ignore[arg-type]
        plate=Plate(
            hole_diameter=0.9375 * unit, thickness=0.5 * unit, edge_distance=1.25 * unit
        ),
        rods=tuple(
            Rod(
                number=number,
                along=along * unit,
                inward=inward * unit,
                diameter=0.75 * unit,
                projection=3.25 * unit,
            )
            for number, (along, inward) in enumerate(places, start=1)
        ),
    )


def rectangle(
    bays: int = 4, bay: float = 20 * FOOT, width: float = 50 * FOOT, jambs: int = 0
) -> Plan:
    """A rectangle with frames on both long walls and endwall columns between."""
    length = bays * bay
    positions = []
    for index in range(bays + 1):
        along = min(max(index * bay, 6 * INCH), length - 6 * INCH)
        positions.append(_on(f"S{index + 1}", ("SW", "SE"), along))
        positions.append(_on(f"N{index + 1}", ("NE", "NW"), length - along))
    for index in range(1, max(2, round(width / (25 * FOOT)))):
        positions.append(_on(f"E{index}", ("SE", "NE"), index * 25 * FOOT))
        positions.append(_on(f"W{index}", ("NW", "SW"), index * 25 * FOOT))
    for index in range(jambs):
        start = (index + 0.3) * bay
        positions.append(_on(f"J{2 * index + 1}", ("SW", "SE"), start))
        positions.append(_on(f"J{2 * index + 2}", ("SW", "SE"), start + 3.5 * FOOT))
    return Plan(
        name="Quarry Side machine hall",
        length_unit="in",
        outline=(
            Corner(name="SW", x=0, y=0),
            Corner(name="SE", x=length, y=0),
            Corner(name="NE", x=length, y=width),
            Corner(name="NW", x=0, y=width),
        ),
        diagonals=(("SW", "NE"), ("SE", "NW")),
        details={"P": detail()},
        positions=tuple(positions),
        notch=Notch(width=1.5 * INCH, depth=1.5 * INCH),
        shim_thicknesses=tuple(
            parse_length(text) for text in ('1/16"', '1/8"', '1/4"', '1/2"')
        ),
    )


def l_shape() -> Plan:
    """Six corners, one of them re-entrant, and a column at a point."""
    corners = {
        "A": (0, 0), "B": (90, 0), "C": (90, 40), "D": (50, 40),
        "E": (50, 75), "F": (0, 75)
    }  # fmt: skip
    places = [
        ("A1", ("A", "B"), 15), ("A2", ("A", "B"), 45), ("A3", ("A", "B"), 75),
        ("B1", ("B", "C"), 20), ("C1", ("C", "D"), 20), ("D1", ("D", "E"), 18),
        ("E1", ("E", "F"), 25), ("F1", ("F", "A"), 20), ("F2", ("F", "A"), 55),
    ]  # fmt: skip
    return Plan(
        name="Millrace Road store",
        length_unit="ft",
        outline=tuple(
            Corner(name=name, x=x * FOOT, y=y * FOOT)
            for name, (x, y) in corners.items()
        ),
        diagonals=(("A", "C"), ("B", "D"), ("A", "D"), ("D", "F"), ("A", "E")),
        details={"P": detail(), "Q": detail("Q", rods=6, reference="web")},
        positions=(
            *(
                _on(mark, wall, along * FOOT, "Q" if mark == "A2" else "P")
                for mark, wall, along in places
            ),
            Position(mark="K1", detail="P", x=50 * FOOT, y=20 * FOOT, turn=math.pi / 2),
        ),
        shim_thicknesses=tuple(parse_length(t) for t in ('1/16"', '1/8"', '1/4"')),
    )


def metric() -> Plan:
    """A rectangle drawn in millimetres."""
    walls_of = (("P", "Q"), ("R", "S"))
    return Plan(
        name="Werkhalle am Kanal",
        length_unit="mm",
        outline=(
            Corner(name="P", x=0, y=0),
            Corner(name="Q", x=24000, y=0),
            Corner(name="R", x=24000, y=15000),
            Corner(name="S", x=0, y=15000),
        ),
        diagonals=(("P", "R"), ("Q", "S")),
        details={"P": detail(unit=25.0)},
        positions=tuple(
            _on(f"{wall[0]}{index}", wall, along)
            for wall in walls_of
            for index, along in enumerate((3000.0, 9000.0, 15000.0, 21000.0), start=1)
        ),
        shim_thicknesses=tuple(parse_length(t) for t in ("1 mm", "2 mm", "5 mm")),
    )


def _on(
    mark: str, wall: tuple[str, str], along: float, detail_name: str = "P"
) -> Position:
    return Position(mark=mark, detail=detail_name, wall=wall, along=along)


def result(
    plan: Plan,
    *,
    corners: dict[str, tuple[float, float]] | None = None,
    misses: dict[str, Any] | None = None,
    heights: dict[str, float | None] | None = None,
    unmeasured: tuple[str, ...] = (),
    seed: int = 7,
) -> dict[str, Any]:
    """A result with small deviations everywhere and chosen ones at some marks.

    `misses` by mark: (along, in) of the whole group, or one pair for each rod.
    """
    random = np.random.default_rng(seed)
    shifts = {corner.name: (0.3, -0.2) for corner in plan.outline} | (corners or {})
    checks: list[dict[str, Any]] = []
    ends = {c.name: np.array([c.x, c.y]) for c in plan.outline}
    for kind, pairs in (("diagonal", plan.diagonals), ("wall", list_walls(plan))):
        for pair in pairs:
            nominal = float(np.hypot(*(ends[pair[1]] - ends[pair[0]])))
            built = [ends[name] + np.array(shifts[name]) for name in pair]
            observed = float(np.hypot(*(built[1] - built[0])))
            limit = nominal / 15240 * 6.35
            checks.append(
                _check(
                    f"{kind}:{pair[0]}-{pair[1]}", kind, nominal, observed, limit, None
                )
            )
    positions = []
    for place in plan.positions:
        positions.append(
            _position(plan, place, (misses or {}).get(place.mark), checks, random,
                      known=place.mark not in unmeasured)
        )  # fmt: skip
    levels = _levels(plan, heights or {}, checks)
    diagonals = [check for check in checks if check["kind"] == "diagonal"][:2]
    difference = abs(diagonals[0]["deviation"] - diagonals[1]["deviation"])
    return {
        "format": "padstone.result/1",
        "building": plan.name,
        "tolerances": {
            "basis": "metal-building-practice",
            "rod_location": {"value": 3.175, "source": "common practice"},
            "line": {"value": 3.175, "source": "common practice"},
            "pad_level": {"value": 3.175, "source": "common practice"},
        },
        "checks": checks,
        "squareness": {
            "determined": True,
            "difference": difference,
            "limit": diagonals[0]["limit"],
            "verdict": "within" if difference <= diagonals[0]["limit"] else "outside",
            "lean": 0.0004,
            "corners": [
                {"corner": name, "dx": dx, "dy": dy}
                for name, (dx, dy) in shifts.items()
            ],
            "square_up": [],
            "suspect_readings": [],
            "missing_readings": [],
            "cannot_tell_which": False,
        },
        "positions": positions,
        "levels": levels,
        "findings": [],
    }


def _check(
    key: str, kind: str, nominal: float, observed: float | None, limit: float,
    mark: str | None, rods: tuple[int, ...] = (),
) -> dict[str, Any]:  # fmt: skip
    deviation = None if observed is None else observed - nominal
    verdict = "unmeasured"
    if deviation is not None:
        verdict = "within" if abs(deviation) <= limit + 1e-6 else "outside"
    return {
        "check": key, "kind": kind, "mark": mark, "rods": list(rods),
        "nominal": nominal, "observed": observed, "deviation": deviation,
        "limit": limit, "readings": int(observed is not None), "verdict": verdict,
    }  # fmt: skip


def _position(
    plan: Plan, place: Position, miss: Any, checks: list[dict[str, Any]],
    random: np.random.Generator, *, known: bool,
) -> dict[str, Any]:  # fmt: skip
    drawn = plan.details[place.detail]
    rods, mark = drawn.rods, place.mark
    each = np.zeros((len(rods), 2)) if miss is None else np.array(miss, dtype=float)
    each = np.broadcast_to(each, (len(rods), 2)) + random.normal(0, 0.6, (len(rods), 2))
    listed = []
    for rod, (along, inward) in zip(rods, each, strict=True):
        values = (rod.along + along, rod.inward + inward) if known else (None, None)
        pair = [
            _check(f"{kind}:{mark}.{rod.number}", kind, nominal, value, 3.175, mark,
                   (rod.number,))
            for kind, nominal, value in (
                ("setback", rod.inward, values[1]),
                ("offset", rod.along, values[0]),
            )
        ]  # fmt: skip
        checks.extend(pair)
        outside = any(check["verdict"] == "outside" for check in pair)
        verdict = "outside" if outside else "within" if known else "unmeasured"
        listed.append(
            {
                "rod": rod.number, "along": values[0], "in": values[1],
                "planned_along": rod.along, "planned_in": rod.inward,
                "d_along": along if known else None, "d_in": inward if known else None,
                "miss": math.hypot(along, inward) if known else None,
                "determined": known, "verdict": verdict,
            }
        )  # fmt: skip
    shift = each.mean(axis=0)
    fit = None
    if known and drawn.plate:
        clearance = (drawn.plate.hole_diameter - rods[0].diameter) / 2
        overrun = float(np.hypot(*(each - shift).T).max()) - clearance
        fit = {
            "overrun": overrun, "fits": overrun <= 0,
            "hole_needed": drawn.plate.hole_diameter + 2 * overrun,
            "shift_along": float(shift[0]), "shift_in": float(shift[1]), "turn": 0.0,
        }  # fmt: skip
    return {
        "mark": mark, "shift_along": float(shift[0]) if known else None,
        "shift_in": float(shift[1]) if known else None, "turn": 0.0 if known else None,
        "line_deviation": None, "rods": listed, "plate_fit": fit,
    }  # fmt: skip


def _levels(
    plan: Plan, heights: dict[str, float | None], checks: list[dict[str, Any]]
) -> dict[str, Any]:
    pads = []
    for index, place in enumerate(plan.positions):
        height = heights.get(place.mark, 0.0 if index == 0 else -0.8)
        check = _check(f"level:{place.mark}", "level", 0.0, height, 3.175, place.mark)
        checks.append(check)
        shim, stack = (0.0, []) if height is not None else (None, [])
        if height is not None and check["verdict"] == "outside":
            shim, stack = _stack(plan, -height)
        pads.append(
            {
                "mark": place.mark, "height": height, "verdict": check["verdict"],
                "shim": shim, "stack": stack, "thread_left": 12.0,
                "residual": None if height is None or shim is None else height + shim,
            }
        )  # fmt: skip
    counts: dict[str, int] = {}
    for pad in pads:
        for text in pad["stack"]:
            counts[text] = counts.get(text, 0) + 1
    return {
        "misclosure": 0.4, "misclosure_limit": 2.0, "highest": plan.positions[0].mark,
        "pads": pads, "lower_pad": None,
        "pack_list": [{"thickness": t, "count": n} for t, n in counts.items()],
    }  # fmt: skip


def _stack(plan: Plan, shortfall: float) -> tuple[float | None, list[str]]:
    """Thick plates first, for a picture; not the rule shims are chosen by."""
    if shortfall > 12.7:
        return None, []
    stack, left = [], shortfall
    for plate in sorted(
        plan.shim_thicknesses, key=lambda plate: plate.mm, reverse=True
    ):
        while left >= float(plate.mm):
            stack.append(plate)
            left -= float(plate.mm)
    return sum(float(plate.mm) for plate in stack), [plate.text for plate in stack]


def wall_lengths(plan: Plan) -> dict[tuple[str, str], float]:
    return {wall: wall_length(plan, wall) for wall in list_walls(plan)}
