"""Screen of a replacement adhesive rod against ACI 318-19 chapter 17.

A screen for the engineer, not a design: the product's evaluation report and the
engineer of record govern. Every condition is a named item with its value, its limits,
and pass, fail or unknown. Basic strengths are those of one rod in cracked concrete
before strength reduction:

    breakout   Nb  = kc lambda sqrt(f'c) hef^1.5          17.6.2.2.1, kc = 17
               psi_ed = 0.7 + 0.3 ca / (1.5 hef) <= 1     17.6.2.4
    bond       Nba = lambda tau_cr pi da hef              17.6.5.2.1
               cNa = 10 da sqrt(tau_uncr / 1100)          17.6.5.1.2
    steel      Nsa = Ase futa, futa <= min(1.9 fya, 125 ksi)   17.6.1.2

in psi, inches and pounds, as the code writes them; returned in N and mm. The clauses
were seen second-hand. lambda is 1: normal-weight concrete.
"""

from dataclasses import dataclass
from enum import StrEnum
from math import pi, sqrt
from typing import Literal

from checks.engine.constants import INCH_MM, KSI_MPA, POUND_N, PSI_MPA
from checks.engine.errors import EngineError
from checks.engine.fasteners import RodGrade, RodThread

SCREEN_HEADING = (
    "A screen, not a design: the adhesive product's evaluation report, the engineer of"
    " record and local codes govern."
)
KC_POST_INSTALLED = 17.0
MAX_CONCRETE_PSI = 8000.0  # 17.3.1, post-installed
MAX_STEEL_KSI = 125.0
RELATIVE_SLACK = 1e-9
DRILL_SOURCE = "geometry: half the new hole and half the old rod (project choice)"
DRILL_OVERSIZE_MM = INCH_MM / 8.0
"""Drill of an adhesive rod over the rod's diameter; the product's instructions govern.
Project choice, for want of a product."""


class ScreenOutcome(StrEnum):
    """Outcome of a condition."""

    PASS = "pass"  # noqa: S105  (a word of the trade, no secret)
    FAIL = "fail"
    UNKNOWN = "unknown"


def drill_clearance_mm(distance_mm: float, new_mm: float, old_mm: float) -> float:
    """Compute the concrete left between a new hole and an old rod. [mm]

    Negative where the drill meets the rod: distance - (hole + old rod) / 2, the hole
    `DRILL_OVERSIZE_MM` larger than the new rod.

    Parameters
    ----------
    distance_mm : float
        Centre of the new hole to centre of the old rod. [mm]
    new_mm, old_mm : float
        Diameters of the rods. [mm]
    """
    return distance_mm - (new_mm + DRILL_OVERSIZE_MM + old_mm) / 2.0


Unit = Literal["mm", "d", "days", "°C", "MPa"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ScreenCondition:
    """One condition: a value and its limits, in `unit`."""

    name: str
    value: float | None
    least: float | None
    most: float | None
    unit: Unit
    outcome: ScreenOutcome
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplacementRod:
    """A proposed replacement rod; None where not known. [mm], [MPa], [°C]"""

    diameter_mm: float
    embedment_mm: float | None = None
    old_stub_mm: float | None = None  # centre to centre
    neighbour_mm: float | None = None  # centre to centre, the nearest
    edge_mm: float | None = None  # centre to the nearest edge
    concrete_age_days: float | None = None
    concrete_temperature_c: float | None = None
    concrete_strength_mpa: float | None = None
    outdoors: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class BasicStrengths:
    """Basic tension strengths of one rod, not reduced; None where not known."""

    breakout_n: float | None
    edge_factor: float | None  # psi_ed
    breakout_at_edge_n: float | None  # breakout times psi_ed
    bond_n: float | None
    bond_edge_mm: float  # cNa: nearer to an edge than this, the bond is less
    steel_n: float | None
    # None unless all are known. Also None where the bond is not the least but the rod
    # is nearer to the edge than `bond_edge_mm`: the bond is then reduced, and by how
    # much is not screened.
    least: Literal["breakout", "bond", "steel"] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReanchorScreen:
    """Every condition, and the basic strengths side by side."""

    heading: str
    conditions: tuple[ScreenCondition, ...]
    strengths: BasicStrengths

    @property
    def outcome(self) -> ScreenOutcome:
        """Fail if any condition fails, else unknown if any is, else pass."""
        outcomes = {c.outcome for c in self.conditions}
        for worst in (ScreenOutcome.FAIL, ScreenOutcome.UNKNOWN):
            if worst in outcomes:
                return worst
        return ScreenOutcome.PASS


# Table 17.6.5.2.5, seen second-hand: cracked and uncracked default bond stress. [psi]
BOND_OUTDOORS_PSI = (200.0, 650.0)  # dry to saturated, up to 175 °F
BOND_INDOORS_PSI = (300.0, 1000.0)  # dry, up to 110 °F


def screen_replacement_rod(
    proposal: ReplacementRod,
    thread: RodThread | None = None,
    grade: RodGrade | None = None,
) -> ReanchorScreen:
    """Screen one replacement rod.

    Parameters
    ----------
    proposal : ReplacementRod
        The rod, as far as it is known. [mm], [MPa], [°C]
    thread : Thread, optional
        For the steel's stress area.
    grade : Grade, optional
        For the steel's strength.

    Returns
    -------
    Screen

    Raises
    ------
    EngineError
        If the diameter, or an embedment given, is not above zero.
    """
    if not proposal.diameter_mm > 0.0:
        raise EngineError("The diameter of a rod must be more than zero.")
    if proposal.embedment_mm is not None and not proposal.embedment_mm > 0.0:
        raise EngineError("The embedment of a rod, if given, must be more than zero.")
    return ReanchorScreen(
        heading=SCREEN_HEADING,
        conditions=_screen_conditions(proposal),
        strengths=_basic_strengths(proposal, thread, grade),
    )


def breakout_strength_n(strength_mpa: float, embedment_mm: float, kc: float) -> float:
    """Compute Nb = kc sqrt(f'c) hef^1.5, ACI 318-19 17.6.2.2.1 (psi, in, lb). [N]

    Parameters
    ----------
    strength_mpa : float
        f'c; counted up to 8000 psi, 17.3.1. [MPa]
    embedment_mm : float
        hef. [mm]
    kc : float
        17 for a post-installed rod without a test of its own.
    """
    psi = min(strength_mpa / PSI_MPA, MAX_CONCRETE_PSI)
    hef = embedment_mm / INCH_MM
    return kc * sqrt(psi) * hef * sqrt(hef) * POUND_N


def edge_factor(edge_mm: float, embedment_mm: float) -> float:
    """Compute psi_ed = 0.7 + 0.3 ca / (1.5 hef), at most 1, ACI 318-19 17.6.2.4.

    Parameters
    ----------
    edge_mm, embedment_mm : float
        ca and hef. [mm]
    """
    return min(1.0, 0.7 + 0.3 * edge_mm / (1.5 * embedment_mm))


def bond_strength_n(
    stress_psi: float, diameter_mm: float, embedment_mm: float
) -> float:
    """Compute Nba = tau pi da hef, ACI 318-19 17.6.5.2.1. [N]

    Parameters
    ----------
    stress_psi : float
        tau, a default of Table 17.6.5.2.5. [psi]
    diameter_mm, embedment_mm : float
        da and hef. [mm]
    """
    return stress_psi * PSI_MPA * pi * diameter_mm * embedment_mm


def bond_edge_mm(uncracked_psi: float, diameter_mm: float) -> float:
    """Compute cNa = 10 da sqrt(tau_uncr / 1100), ACI 318-19 17.6.5.1.2. [mm]

    Parameters
    ----------
    uncracked_psi : float
        tau_uncr. [psi]
    diameter_mm : float
        da. [mm]
    """
    return 10.0 * diameter_mm * sqrt(uncracked_psi / 1100.0)


def steel_strength_n(thread: RodThread, grade: RodGrade) -> float:
    """Compute Nsa = Ase futa, futa <= min(1.9 fya, 125 ksi), ACI 318-19 17.6.1.2. [N]

    Parameters
    ----------
    thread : RodThread
        For Ase. [mm2]
    grade : RodGrade
        For fya and futa. [MPa]
    """
    futa = min(grade.tensile_mpa, 1.9 * grade.yield_mpa, MAX_STEEL_KSI * KSI_MPA)
    return thread.stress_area_mm2 * futa


def _screen_conditions(rod: ReplacementRod) -> tuple[ScreenCondition, ...]:
    d, stub = rod.diameter_mm, rod.old_stub_mm
    # The old stub has the diameter of the rod that replaces it.
    clear = None if stub is None else drill_clearance_mm(stub, d, d)
    rows: tuple[
        tuple[str, float | None, Unit, tuple[float, float | None], str], ...
    ] = (
        ("embedment", _in_diameters(rod.embedment_mm, d), "d", (4.0, 20.0), "17.3.3"),
        ("drill clear of the old stub", clear, "mm", (0.0, None), DRILL_SOURCE),
        ("spacing to the old stub", _in_diameters(rod.old_stub_mm, d), "d",
         (6.0, None), "17.9.2(a)"),
        ("spacing to the nearest rod", _in_diameters(rod.neighbour_mm, d), "d",
         (6.0, None), "17.9.2(a)"),
        ("edge distance", _in_diameters(rod.edge_mm, d), "d", (6.0, None), "17.9.2(b)"),
        ("concrete age", rod.concrete_age_days, "days", (21.0, None), "17.2.2"),
        ("concrete temperature", rod.concrete_temperature_c, "°C", (10.0, None),
         "Table 17.6.5.2.5"),
        ("concrete strength", rod.concrete_strength_mpa, "MPa",
         (2500.0 * PSI_MPA, None), "Table 17.6.5.2.5"),
    )  # fmt: skip
    return tuple(_screen_condition(*row) for row in rows)


def _in_diameters(length_mm: float | None, diameter_mm: float) -> float | None:
    return None if length_mm is None else length_mm / diameter_mm


def _screen_condition(
    name: str,
    value: float | None,
    unit: Unit,
    limits: tuple[float, float | None],
    source: str,
) -> ScreenCondition:
    least, most = limits
    if value is None or value != value:
        outcome, value = ScreenOutcome.UNKNOWN, None
    else:
        # Six diameters typed in inches must not fail by rounding in mm.
        slack = RELATIVE_SLACK * max(1.0, abs(value))
        enough = value >= least - slack and (most is None or value <= most + slack)
        outcome = ScreenOutcome.PASS if enough else ScreenOutcome.FAIL
    return ScreenCondition(
        name=name,
        value=value,
        least=least,
        most=most,
        unit=unit,
        outcome=outcome,
        source=source
        if source == DRILL_SOURCE
        else f"ACI 318-19 {source} (secondary source)",
    )


def _basic_strengths(
    p: ReplacementRod, thread: RodThread | None, grade: RodGrade | None
) -> BasicStrengths:
    cracked, uncracked = BOND_OUTDOORS_PSI if p.outdoors else BOND_INDOORS_PSI
    bond_edge = bond_edge_mm(uncracked, p.diameter_mm)
    breakout = factor = bond = None
    if p.embedment_mm is not None:
        bond = bond_strength_n(cracked, p.diameter_mm, p.embedment_mm)
        if p.concrete_strength_mpa is not None:
            breakout = breakout_strength_n(
                p.concrete_strength_mpa, p.embedment_mm, KC_POST_INSTALLED
            )
        if p.edge_mm is not None:
            factor = edge_factor(p.edge_mm, p.embedment_mm)
    at_edge = None if breakout is None or factor is None else breakout * factor
    steel = None if thread is None or grade is None else steel_strength_n(thread, grade)
    least: Literal["breakout", "bond", "steel"] | None = None
    if at_edge is not None and bond is not None and steel is not None:
        least = "breakout" if at_edge <= min(bond, steel) else "steel"
        if bond < min(at_edge, steel):
            least = "bond"
        elif p.edge_mm is not None and p.edge_mm < bond_edge:
            least = None
    return BasicStrengths(
        breakout_n=breakout,
        edge_factor=factor,
        breakout_at_edge_n=at_edge,
        bond_n=bond,
        bond_edge_mm=bond_edge,
        steel_n=steel,
        least=least,
    )
