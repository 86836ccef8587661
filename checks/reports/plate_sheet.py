"""The sheet of a new base plate: what the shop needs, as numbers, SVG and DXF.

A plate that an engineer ordered is written from the decision, as frozen with it; one
that is only proposed says so on the sheet.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from django.utils.text import slugify

from checks.drawings.as_built_rods import DXF_CHARACTERS
from checks.drawings.new_plate import draw_new_plate
from checks.drawings.svg import render_svg
from checks.evaluation.finding_topics import FindingTopic
from checks.models import Decision, Finding
from checks.reports.formatting import format_utc_time
from checks.services.finding_lifecycle import get_latest_decision
from core.formatting import DisplayStyle, format_display_length, get_default_style
from core.units import LengthUnit
from core.vocabulary import RemedyKind
from jobs.anchor_plan.values import Detail, Plan
from jobs.exchange.dxf.plate_export import (
    DrawnPlateHole,
    PlateSheet,
    write_plate_drawing,
)
from jobs.exchange.result.findings import RemedyResult
from jobs.models import PlanRevision
from jobs.plans.plan_cache import load_plan

NOT_ORDERED = "PROPOSAL, NOT ORDERED. Nothing is made before the engineer orders it."
UNDER_REVIEW = "ORDER UNDER REVIEW: its grounds changed. Nothing is made meanwhile."
STATED_UNITS: dict[DisplayStyle, LengthUnit] = {
    "imperial": "in",
    "decimal": "in",
    "metric": "mm",
}
FINEST_FRACTION = 64  # finest fraction of an inch that a plate is laid out to


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPlateSheet:
    """A new plate with where it belongs and whether it is ordered.

    Attributes
    ----------
    decision : the order; None for a proposal.
    """

    finding: Finding
    mark: str
    plan: Plan
    revision: PlanRevision
    remedy: RemedyResult
    decision: Decision | None = None

    @property
    def detail(self) -> Detail:
        """The detail of the position."""
        place = next(each for each in self.plan.positions if each.mark == self.mark)
        return self.plan.details[place.detail]

    @property
    def status(self) -> str:
        """Statement of who ordered the plate, or that nobody did."""
        if self.decision is None:
            return NOT_ORDERED
        if self.finding.flagged_at is not None:
            return UNDER_REVIEW
        made_at = format_utc_time(self.decision.made_at.isoformat())
        return f"Ordered by {self.decision.engineer}, {made_at}."

    @property
    def file_stem(self) -> str:
        """Name of its files, by job, building and mark."""
        building = self.finding.building
        return (
            f"{slugify(building.name) or 'building'}-"
            f"{slugify(self.mark) or self.finding.pk}-new-plate"
        )


def find_plate_sheet(finding: Finding) -> NewPlateSheet | None:
    """Return the plate ordered for a finding, else the one computed; None if neither.

    Parameters
    ----------
    finding : with its building and evaluation.
    """
    decision = get_latest_decision(finding)
    if decision is not None and decision.remedy["remedy"] == RemedyKind.NEW_PLATE:
        return _build_sheet(finding, decision.remedy, decision)
    remedy = next(
        (row for row in finding.remedies if row["remedy"] == RemedyKind.NEW_PLATE), None
    )
    return None if remedy is None else _build_sheet(finding, remedy, None)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateFile:
    """A drawing of a plate as a file to download."""

    name: str
    content: bytes
    media_type: str


def write_plate_file(
    sheet: NewPlateSheet, kind: str, style: DisplayStyle
) -> PlateFile | None:
    """Write the drawing of a plate; None for an unknown kind of file.

    Parameters
    ----------
    sheet : the plate.
    kind : "dxf" or "svg".
    style : notation of the lengths of an SVG; a DXF has the plan's own.
    """
    if kind == "dxf":
        content, media_type = write_plate_dxf(sheet), "image/vnd.dxf"
    elif kind == "svg":
        content, media_type = write_plate_svg(sheet, style), "image/svg+xml"
    else:
        return None
    return PlateFile(
        name=f"{sheet.file_stem}.{kind}", content=content, media_type=media_type
    )


def write_plate_svg(sheet: NewPlateSheet, style: DisplayStyle) -> bytes:
    """Write the plate as an SVG drawing by itself."""
    drawing = draw_new_plate(sheet.mark, sheet.detail, sheet.remedy)
    return render_svg("new_plate", drawing, style, standalone=True).encode()


def write_plate_dxf(sheet: NewPlateSheet) -> bytes:
    """Write the plate as a DXF drawing in the units of the plan."""
    style = get_default_style(sheet.plan.length_unit)
    plate, detail = sheet.remedy["plate"], sheet.detail
    corner = plate["corner_along"] or 0.0, plate["corner_in"] or 0.0
    holes = [
        DrawnPlateHole(
            rod=hole["rod"],
            x=hole["x"] or 0.0,
            y=hole["y"] or 0.0,
            planned_x=rod.along - corner[0],
            planned_y=rod.inward - corner[1],
            x_text=_write(hole["x"], style).translate(DXF_CHARACTERS),
            y_text=_write(hole["y"], style).translate(DXF_CHARACTERS),
        )
        for hole, rod in zip(plate["holes"], detail.rods, strict=True)
    ]
    return write_plate_drawing(
        PlateSheet(
            unit=STATED_UNITS[style],
            width=plate["width"] or 0.0,
            depth=plate["depth"] or 0.0,
            hole_diameter=sheet.remedy["ordered_diameter"] or 0.0,
            holes=holes,
            reference_x=-corner[0],
            notes=[note.translate(DXF_CHARACTERS) for note in list_notes(sheet, style)],
            planned_box=_find_planned_box(sheet),
        )
    )


def list_notes(sheet: NewPlateSheet, style: DisplayStyle) -> Iterator[str]:
    """List what the sheet says beside the drawing, a line each."""
    building, plate = sheet.finding.building, sheet.remedy["plate"]
    thickness = plate["thickness"]
    corner_in = plate["corner_in"] or 0.0
    side = "inward of" if corner_in >= 0.0 else "outward of"
    yield f"NEW BASE PLATE FOR {sheet.mark}, 1 PIECE"
    yield sheet.status
    yield (
        f"Job {building.job.number} {building.job.name}, {building.name}, plan revision"
        f" {sheet.revision.number}, detail {sheet.detail.name}"
    )
    yield (
        f"{_write(plate['width'] or 0.0, style)} x"
        f" {_write(plate['depth'] or 0.0, style)}, thickness"
        f" {_write(thickness, style) if thickness else 'as the detail'},"
        f" material as the detail, {len(plate['holes'])} holes"
        f" {_write(sheet.remedy['ordered_diameter'] or 0.0, style)}"
    )
    yield (
        "Seen from above, inward up. X and Y from the lower left corner, which is"
        f" {_write(abs(corner_in), style)} {side} the steel line"
    )
    yield (
        "Set the column by its reference line, at X"
        f" {_write(-(plate['corner_along'] or 0.0), style)}, not by the"
        " holes"
    )
    yield (
        f"Mark the upper face {sheet.mark} with an arrow inward: the plate fits at"
        f" {sheet.mark} only, this way round"
    )
    yield (
        "Least clearance round a rod as laid out:"
        f" {_write(plate['clearance_left'] or 0.0, style)}"
    )


def _build_sheet(
    finding: Finding, remedy: RemedyResult, decision: Decision | None
) -> NewPlateSheet | None:
    evaluation = finding.evaluation if decision is None else decision.evaluation
    plan = load_plan(evaluation.revision)
    mark = FindingTopic(finding.topic).subject
    if not any(place.mark == mark for place in plan.positions):
        return None
    return NewPlateSheet(
        finding=finding,
        mark=mark,
        plan=plan,
        revision=evaluation.revision,
        remedy=remedy,
        decision=decision,
    )


def _find_planned_box(
    sheet: NewPlateSheet,
) -> tuple[float, float, float, float] | None:
    plate = sheet.remedy["plate"]
    growth = {row["side"]: row["by"] or 0.0 for row in plate["growth"]}
    if not growth:
        return None
    return (
        growth.get("left", 0.0),
        growth.get("near", 0.0),
        (plate["width"] or 0.0) - growth.get("right", 0.0),
        (plate["depth"] or 0.0) - growth.get("far", 0.0),
    )


def _write(mm: float | None, style: DisplayStyle) -> str:
    return format_display_length(mm or 0.0, style, denominator=FINEST_FRACTION)
