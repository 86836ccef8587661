"""The anchor plan and its readings as frozen values, in mm, rad, MPa, °C and N.

Nothing here computes: `geometry` places things, `sheet` lists what is checked.
Every length keeps the text it was typed as beside its millimetres.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Literal

from core.units import Length, LengthUnit

Reference = Literal["centreline", "web"]


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
    """A base plate as punched. [mm]; None where the document does not say."""

    hole_diameter: float
    thickness: float | None = None
    edge_distance: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Rod:
    """One planned rod of a detail, in the detail's own axes. [mm]"""

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

    Exactly one of the two is given; lengths in mm, `turn` in rad counter-clockwise.
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
    """The basis by name, and the limits a building sets for itself.

    An override of a length is in mm; of a ratio (`strength_ratio`, `plumb`) plain.
    """

    basis: str = "metal-building-practice"
    overrides: Mapping[str, float] = field(default_factory=dict)
    guarded: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class MaturitySpec:
    """What a forecast of strength rests on: the mixture's curve and the temperatures.

    By Nurse and Saul where `datum` is given, and then the curve's maturities are in
    °C h; by equivalent age where `activation` and `reference` are, and then in hours.
    """

    curve: tuple[tuple[float, float], ...]  # maturity and strength [MPa] of a cylinder
    temperatures: tuple[tuple[float, float], ...]  # hours since placing and their °C
    expected: tuple[float, float, float]  # °C from now on: low, likely, high
    datum: float | None = None  # °C
    activation: float | None = None  # K, activation energy over the gas constant
    reference: float | None = None  # °C


@dataclass(frozen=True, slots=True, kw_only=True)
class ConcreteSpec:
    """What strength the plan asks for, and what is known of the concrete. [MPa]"""

    specified_strength: float | None = None
    sufficient_strength: float | None = None  # stated by the engineer for erection
    placed_on: date | None = None
    standard_cured: tuple[float, ...] = ()  # strength tests in the order made
    maturity: MaturitySpec | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentSpec:
    """A tape or level, with the data its corrections need; None where unknown.

    A correction is applied only where every datum it needs is given.
    """

    name: str
    kind: str
    accuracy_class: Literal["I", "II", "III"] | None = None
    standard_temperature: float | None = None  # °C
    nominal_length: float | None = None  # mm, what the tape says it is
    actual_length: float | None = None  # mm, what its certificate says
    standard_tension: float | None = None  # N
    cross_section: float | None = None  # mm²
    elastic_modulus: float | None = None  # MPa
    weight: float | None = None  # N/m, hanging weight of the tape
    standard_uncertainty: float | None = None  # mm at 30 m, for levels
    collimation: float | None = None  # rad, line of sight up positive


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Everything the drawings say about one building's anchorage."""

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


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingValue:
    """One reading of one check, as it was typed and in mm (MPa for strength).

    `check` is the canonical key; `corner` is the exchange document's `from`.
    `resolution` is the last fraction or decimal of the text as typed, same unit
    as `value`.
    """

    id: str
    check: str
    value: float
    text: str
    resolution: float
    by: str | None = None
    at: datetime | None = None
    instrument: str | None = None
    temperature: float | None = None  # °C
    tension: float | None = None  # N
    slope_rise: float | None = None  # mm
    span: float | None = None  # mm between supports; None: supported throughout
    sight_distance: float | None = None  # mm from level to rod
    from_corner: str | None = None
    setup: str = "1"
    height: float | None = None  # mm, for plumb
    supersedes: str | None = None
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildingInput:
    """A plan and its readings: what one exchange document carries."""

    plan: Plan
    readings: tuple[ReadingValue, ...] = ()
