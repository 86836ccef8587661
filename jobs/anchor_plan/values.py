"""The anchor plan and its readings as frozen values, in mm, rad, MPa, °C and N.

Nothing is computed here: `geometry` places walls, positions and rods, `check_sheet`
lists the checks. None stands for what the document does not have.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Literal

from core.units import Length, LengthUnit
from core.vocabulary import SteelState
from jobs.anchor_plan.check_keys import CheckKey

Reference = Literal["centreline", "web"]
AccuracyClass = Literal["I", "II", "III"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Corner:
    """A corner of the steel line, on plan axes (x right, y up). [mm]"""

    name: str
    x: float
    y: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Notch:
    """The sheeting notch around the slab. [mm]"""

    width: float
    depth: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """A base plate as punched. [mm]"""

    hole_diameter: float
    thickness: float | None = None
    edge_distance: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Rod:
    """A planned rod of a detail, in the axes of a position. [mm]"""

    number: int
    along: float
    inward: float
    diameter: float
    projection: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Detail:
    """A rod pattern and base plate shared by positions."""

    name: str
    reference: Reference
    rods: tuple[Rod, ...]
    plate: Plate | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Position:
    """A column or jamb: on a wall (`wall`, `along`) or at a point (`x`, `y`, `turn`).

    It has exactly one of the two. Lengths in mm, `turn` in rad counter-clockwise.
    """

    mark: str
    detail: str
    wall: tuple[str, str] | None = None
    along: float | None = None
    x: float | None = None
    y: float | None = None
    turn: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ToleranceSpec:
    """The tolerance basis by name, and the limits a building sets for itself.

    Attributes
    ----------
    overrides : limits by key. [mm; a ratio (`strength_ratio`, `plumb`) plain;
        `column_turn` in rad]
    guarded : true if the expanded uncertainty narrows every limit.
    """

    basis: str = "metal-building-practice"
    overrides: Mapping[str, float] = field(default_factory=dict)
    guarded: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class MaturitySpec:
    """Data for a strength forecast: the mixture's curve and the temperatures.

    By Nurse and Saul with a `datum`: the curve's maturities are in °C h. By equivalent
    age with `activation` and `reference`: they are in h.
    """

    curve: tuple[tuple[float, float], ...]  # maturity and strength [MPa] of a cylinder
    temperatures: tuple[tuple[float, float], ...]  # intervals since placing: h and °C
    expected: tuple[float, float, float]  # °C from now on: low, likely, high
    datum: float | None = None  # °C
    activation: float | None = None  # K, activation energy over the gas constant
    reference: float | None = None  # °C


@dataclass(frozen=True, slots=True, kw_only=True)
class ConcreteSpec:
    """The strength the plan asks for, and the data known of the concrete. [MPa]"""

    specified_strength: float | None = None
    sufficient_strength: float | None = None  # stated by the engineer for erection
    placed_on: date | None = None
    standard_cured: tuple[float, ...] = ()  # strength tests in the order made
    maturity: MaturitySpec | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentSpec:
    """A tape or level, with the data its corrections need.

    A correction is applied only where all its data are known.
    """

    name: str
    kind: str
    accuracy_class: AccuracyClass | None = None
    standard_temperature: float | None = None  # °C
    nominal_length: float | None = None  # mm, as marked
    actual_length: float | None = None  # mm, by its certificate
    standard_tension: float | None = None  # N
    cross_section: float | None = None  # mm²
    elastic_modulus: float | None = None  # MPa
    weight: float | None = None  # N/m, hanging weight of the tape
    standard_uncertainty: float | None = None  # mm at 30 m, for levels
    collimation: float | None = None  # rad, line of sight up positive


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """One building's anchor plan: everything its drawings show.

    Attributes
    ----------
    steel : how far the steel is when the plan is evaluated. It is a fact about the
        building, not part of a revision.
    """

    name: str
    length_unit: LengthUnit
    outline: tuple[Corner, ...]
    diagonals: tuple[tuple[str, str], ...]
    details: Mapping[str, Detail]
    positions: tuple[Position, ...]
    tolerances: ToleranceSpec = ToleranceSpec()
    notch: Notch | None = None
    shim_thicknesses: tuple[Length, ...] = ()
    concrete: ConcreteSpec = ConcreteSpec()
    instruments: Mapping[str, InstrumentSpec] = field(default_factory=dict)
    steel: SteelState = SteelState.FABRICATED


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingValue:
    """One reading of one check.

    Attributes
    ----------
    check : the canonical key, whichever end a diagonal or gage was named from.
    value : [mm; MPa for a strength]
    text : the value as typed.
    resolution : the last fraction or decimal of the text. [as `value`]
    span : between supports; None for a tape supported throughout. [mm]
    sight_distance : from the level to the rod. [mm]
    withdrawn : why the reading does not count; None for one that does.
    from_corner : the corner a line was measured from; None for the wall's first.
    """

    id: str
    check: CheckKey
    value: float
    text: str
    resolution: float
    by: str | None = None
    at: datetime | None = None
    instrument: str | None = None
    temperature: float | None = None  # °C
    tension: float | None = None  # N
    slope_rise: float | None = None  # mm
    span: float | None = None
    sight_distance: float | None = None
    from_corner: str | None = None
    setup: str = "1"
    height: float | None = None  # mm, for plumb
    supersedes: str | None = None
    withdrawn: str | None = None
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildingInput:
    """A plan and its readings: the content of one building document."""

    plan: Plan
    readings: tuple[ReadingValue, ...] = ()


@dataclass(frozen=True, eq=False, slots=True)
class PlanKey:
    """A plan as a cache key, by identity: plans hold dicts and cannot be hashed."""

    plan: Plan

    def __hash__(self) -> int:
        return id(self.plan)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, PlanKey) and other.plan is self.plan
