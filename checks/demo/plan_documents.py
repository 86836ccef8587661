"""The anchor plans of the demo, as exchange documents; every figure is invented."""

from collections.abc import Mapping
from typing import Any

from checks.demo.data_files import read_plan, read_table
from jobs.anchor_plan.rectangle import (
    PatternSpec,
    RectangleSpec,
    build_rectangle_document,
)

Document = dict[str, Any]

HALLS = read_table("halls")
INSTRUMENTS: dict[str, dict[str, str]] = read_table("crews")["instruments"]


def build_hall(
    name: str,
    length: str,
    width: str,
    bays: str,
    endwall_spacing: str,
    *,
    metric: bool = False,
    web_ends: bool = False,
    heavy: bool = False,
    basis: str = "metal-building-practice",
    specified_strength: str = "3000 psi",
    frame: Mapping[str, str] | None = None,
) -> Document:
    """Build a rectangular hall with frames, corner columns and endwall columns.

    `frame` replaces dimensions of the frame columns' pattern.
    """
    parts = HALLS["metric" if metric else "imperial"]
    # Only imperial halls come in a heavy version.
    pattern = PatternSpec(
        **{**parts["heavy_frame" if heavy else "frame"], **(frame or {})}
    )
    spec = RectangleSpec(
        name=name,
        length_unit=parts["length_unit"],
        length=length,
        width=width,
        bays=bays,
        endwall_spacing=endwall_spacing,
        frame=pattern,
        endwall=parts["web_member"] if web_ends else PatternSpec(**parts["post"]),
        corner=pattern,
        corner_inset=parts["corner_inset"],
        notch_width=parts["notch"],
        notch_depth=parts["notch"],
        specified_strength=specified_strength,
        placed_on=None,
        basis=basis,
        shim_thicknesses=tuple(parts["shims"]),
    )
    return {**build_rectangle_document(spec), "instruments": INSTRUMENTS}


def load_plan_document(shape: str, name: str) -> Document:
    """Load a plan that is no rectangle: `shed`, `l_shaped_hall` or `skewed_hall`."""
    return {**read_plan(shape), "name": name, "instruments": INSTRUMENTS}
