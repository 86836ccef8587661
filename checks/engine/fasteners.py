"""Published tables of rods, nuts, washers and holes, by size.

Each table names its source and its `Provenance`; rows from memory are for display
only. Inch and metric sizes are stored in mm. A size that a table lacks is None, never
the nearest one.

The tensile stress area is As = pi/4 (d - k P)^2, P the pitch: k = 0.9743 for an inch
thread (ASME B1.1), and 0.9382, the mean of the depths of d2 and d3, for a metric one
(ISO 898-1, ISO 724).
"""

from dataclasses import dataclass
from fractions import Fraction
from math import ceil, pi
from typing import Literal

from checks.engine.constants import INCH_MM, KSI_MPA
from checks.engine.sources import Provenance

# A diameter matches a size within this: a millimetre value rounded to one decimal
# still matches, the next sixteenth of an inch does not. Project choice.
SIZE_TOLERANCE_MM = 0.1


def _mm(inches: str | float) -> float:
    """Convert inches, written as 1 1/4 or a decimal, to mm.

    Fractions stay exact until the end, so that 1 1/4 in is 31.75 mm and not nearly so.
    """
    if isinstance(inches, float):
        return inches * INCH_MM
    return float(sum(map(Fraction, inches.split())) * Fraction("25.4"))


@dataclass(frozen=True, slots=True, kw_only=True)
class RodThread:
    """A coarse thread and its nut. [mm]

    Inch: threads ASME B1.1 (UNC), heavy hex nuts ASME B18.2.2. Metric: threads ISO 261,
    stress areas ISO 898-1, nuts ISO 4032 (style 1). All from secondary sources;
    `nut_min_provenance` tells where the least height of a nut is from memory.
    """

    diameter_mm: float
    pitch_mm: float
    tabulated_area_mm2: float
    nut_max_mm: float
    nut_min_mm: float
    flats_mm: float
    depth_factor: float = 0.9743
    provenance: Provenance = Provenance.SECOND_HAND
    nut_min_provenance: Provenance = Provenance.SECOND_HAND

    @property
    def stress_area_mm2(self) -> float:
        """pi/4 (d - k P)^2. [mm2]"""
        return pi / 4.0 * (self.diameter_mm - self.depth_factor * self.pitch_mm) ** 2


def _thread(
    size: str, tpi: float, area: float, nut: tuple[float, float], flats: str
) -> RodThread:
    return RodThread(
        diameter_mm=_mm(size),
        pitch_mm=INCH_MM / tpi,
        tabulated_area_mm2=area * INCH_MM**2,
        nut_max_mm=_mm(nut[0]),
        nut_min_mm=_mm(nut[1]),
        flats_mm=_mm(flats),
    )


# d [in], threads per inch, stress area [in2], heavy nut max and min [in], flats [in]
THREADS = (
    _thread("1/2", 13, 0.142, (0.504, 0.464), "7/8"),
    _thread("5/8", 11, 0.226, (0.631, 0.587), "1 1/16"),
    _thread("3/4", 10, 0.334, (0.758, 0.710), "1 1/4"),
    _thread("7/8", 9, 0.462, (0.885, 0.833), "1 7/16"),
    _thread("1", 8, 0.606, (1.012, 0.956), "1 5/8"),
    _thread("1 1/8", 7, 0.763, (1.139, 1.079), "1 13/16"),
    _thread("1 1/4", 7, 0.969, (1.251, 1.187), "2"),
    _thread("1 3/8", 6, 1.16, (1.378, 1.310), "2 3/16"),
    _thread("1 1/2", 6, 1.41, (1.505, 1.433), "2 3/8"),
    _thread("1 3/4", 5, 1.90, (1.759, 1.679), "2 3/4"),
    _thread("2", 4.5, 2.50, (2.013, 1.925), "3 1/8"),
    _thread("2 1/4", 4.5, 3.25, (2.251, 2.155), "3 1/2"),
    _thread("2 1/2", 4, 4.00, (2.505, 2.401), "3 7/8"),
)


METRIC_DEPTH_FACTOR = (0.649519 + 1.226869) / 2.0  # of d2 and d3, ISO 724


def _metric_thread(
    size: float,
    pitch: float,
    area: float,
    nut: tuple[float, float],
    flats: float,
    *,
    least: Provenance = Provenance.SECOND_HAND,
) -> RodThread:
    return RodThread(
        diameter_mm=size,
        pitch_mm=pitch,
        tabulated_area_mm2=area,
        nut_max_mm=nut[0],
        nut_min_mm=nut[1],
        flats_mm=flats,
        depth_factor=METRIC_DEPTH_FACTOR,
        nut_min_provenance=least,
    )


# d, pitch, stress area [mm2], nut height max and min, flats [mm]; M14, M18, M22, M27
# and M33 are not preferred sizes.
METRIC_THREADS = (
    _metric_thread(12.0, 1.75, 84.3, (10.8, 10.37), 18.0),
    _metric_thread(14.0, 2.0, 115.0, (12.8, 12.1), 21.0),
    _metric_thread(16.0, 2.0, 157.0, (14.8, 14.1), 24.0),
    _metric_thread(18.0, 2.5, 192.0, (15.8, 15.1), 27.0),
    _metric_thread(20.0, 2.5, 245.0, (18.0, 16.9), 30.0),
    _metric_thread(22.0, 2.5, 303.0, (19.4, 18.1), 34.0, least=Provenance.FROM_MEMORY),
    _metric_thread(24.0, 3.0, 353.0, (21.5, 20.2), 36.0),
    _metric_thread(27.0, 3.0, 459.0, (23.8, 22.5), 41.0, least=Provenance.FROM_MEMORY),
    _metric_thread(30.0, 3.5, 561.0, (25.6, 24.3), 46.0),
    _metric_thread(33.0, 3.5, 694.0, (28.7, 27.4), 50.0, least=Provenance.FROM_MEMORY),
    _metric_thread(36.0, 4.0, 817.0, (31.0, 29.4), 55.0),
    _metric_thread(42.0, 4.5, 1120.0, (34.0, 32.4), 65.0),
    _metric_thread(48.0, 5.0, 1470.0, (38.0, 36.4), 75.0),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class BasePlateHole:
    """Largest base plate hole, and the plate washer that covers it. [mm]

    AISC Manual Table 14-2, AISC Design Guide 1 (2nd ed.) Table 2.3, seen second-hand.
    The 1/2 and 5/8 in rows come from elsewhere and have no washer. A suggestion when a
    detail is drawn up: many metal buildings are punched far tighter.
    """

    diameter_mm: float
    hole_mm: float
    washer_mm: float | None
    washer_thickness_mm: float | None
    provenance: Provenance = Provenance.SECOND_HAND


def _hole(size: str, hole: str, washer: str | None, thick: str | None) -> BasePlateHole:
    return BasePlateHole(
        diameter_mm=_mm(size),
        hole_mm=_mm(hole),
        washer_mm=None if washer is None else _mm(washer),
        washer_thickness_mm=None if thick is None else _mm(thick),
    )


BASE_PLATE_HOLES = (
    _hole("1/2", "1 1/16", None, None),
    _hole("5/8", "1 3/16", None, None),
    _hole("3/4", "1 5/16", "2", "1/4"),
    _hole("7/8", "1 9/16", "2 1/2", "5/16"),
    _hole("1", "1 13/16", "3", "3/8"),
    _hole("1 1/4", "2 1/16", "3", "1/2"),
    _hole("1 1/2", "2 5/16", "3 1/2", "1/2"),
    _hole("1 3/4", "2 3/4", "4", "5/8"),
    _hole("2", "3 1/4", "5", "3/4"),
    _hole("2 1/2", "3 3/4", "5 1/2", "7/8"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Washer:
    """A plain washer: type A of ASME B18.21.1 (B18.22.1), or ISO 7089. [mm]

    `series` is N narrow, W wide, or empty. Limits of the thickness are None where the
    table consulted has the nominal only.
    """

    diameter_mm: float
    series: Literal["N", "W", ""]
    inside_mm: float
    outside_mm: float
    thickness_mm: float
    thickness_max_mm: float | None
    thickness_min_mm: float | None
    provenance: Provenance


def _washer(
    size: str,
    series: Literal["N", "W", ""],
    rings: tuple[float, float],
    thick: tuple[float, float | None, float | None],
    provenance: Provenance = Provenance.SECOND_HAND,
) -> Washer:
    return Washer(
        diameter_mm=_mm(size),
        series=series,
        inside_mm=_mm(rings[0]),
        outside_mm=_mm(rings[1]),
        thickness_mm=_mm(thick[0]),
        thickness_max_mm=None if thick[1] is None else _mm(thick[1]),
        thickness_min_mm=None if thick[2] is None else _mm(thick[2]),
        provenance=provenance,
    )


# size, series, (inside, outside) [in], (nominal, max, min) thickness [in]
WASHERS = (
    _washer("1/2", "N", (0.531, 1.062), (0.095, 0.121, 0.074)),
    _washer("1/2", "W", (0.562, 1.375), (0.109, 0.132, 0.086)),
    _washer("5/8", "N", (0.656, 1.312), (0.095, None, None)),
    _washer("5/8", "W", (0.688, 1.750), (0.134, 0.160, 0.108)),
    _washer("3/4", "N", (0.812, 1.469), (0.134, 0.160, 0.108)),
    _washer("3/4", "W", (0.812, 2.000), (0.148, 0.177, 0.122)),
    _washer("7/8", "N", (0.938, 1.750), (0.134, None, None)),
    _washer("7/8", "W", (0.938, 2.250), (0.165, 0.192, 0.136)),
    _washer("1", "W", (1.062, 2.500), (0.165, None, None), Provenance.FROM_MEMORY),
    _washer("1 1/8", "N", (1.188, 2.250), (0.134, 0.160, 0.108)),
    _washer(
        "1 1/8", "W", (1.250, 2.750), (0.165, 0.192, 0.136), Provenance.FROM_MEMORY
    ),
    _washer("1 1/4", "W", (1.375, 3.000), (0.165, None, None), Provenance.FROM_MEMORY),
    _washer(
        "1 3/8", "N", (1.438, 2.750), (0.165, 0.192, 0.136), Provenance.FROM_MEMORY
    ),
    _washer(
        "1 3/8", "W", (1.500, 3.250), (0.180, 0.213, 0.153), Provenance.FROM_MEMORY
    ),
    _washer(
        "1 1/2", "W", (1.625, 3.500), (0.180, 0.213, 0.153), Provenance.FROM_MEMORY
    ),
    _washer("1 3/4", "", (1.875, 4.000), (0.180, None, None), Provenance.FROM_MEMORY),
    _washer("2", "", (2.125, 4.500), (0.180, None, None), Provenance.FROM_MEMORY),
    _washer("2 1/4", "", (2.375, 4.750), (0.220, None, None), Provenance.FROM_MEMORY),
    _washer("2 1/2", "", (2.625, 5.000), (0.238, 0.280, 0.210), Provenance.FROM_MEMORY),
)


def _metric_washer(
    size: float,
    rings: tuple[float, float],
    thick: tuple[float, float],
    provenance: Provenance = Provenance.SECOND_HAND,
) -> Washer:
    return Washer(
        diameter_mm=size,
        series="",
        inside_mm=rings[0],
        outside_mm=rings[1],
        thickness_mm=thick[0],
        thickness_max_mm=thick[1],
        thickness_min_mm=None,
        provenance=provenance,
    )


# size, (least inside, largest outside), (nominal, max) thickness [mm]; ISO 7089. A row
# with any value from memory is marked so.
METRIC_WASHERS = (
    _metric_washer(12.0, (13.0, 24.0), (2.5, 2.7)),
    _metric_washer(14.0, (15.0, 28.0), (2.5, 2.7), Provenance.FROM_MEMORY),
    _metric_washer(16.0, (17.0, 30.0), (3.0, 3.3)),
    _metric_washer(18.0, (19.0, 34.0), (3.0, 3.3), Provenance.FROM_MEMORY),
    _metric_washer(20.0, (21.0, 37.0), (3.0, 3.3)),
    _metric_washer(22.0, (23.0, 39.0), (3.0, 3.3), Provenance.FROM_MEMORY),
    _metric_washer(24.0, (25.0, 44.0), (4.0, 4.3)),
    _metric_washer(27.0, (28.0, 50.0), (4.0, 4.3), Provenance.FROM_MEMORY),
    _metric_washer(30.0, (31.0, 56.0), (4.0, 4.3)),
    _metric_washer(33.0, (34.0, 60.0), (5.0, 5.6), Provenance.FROM_MEMORY),
    _metric_washer(36.0, (37.0, 66.0), (5.0, 5.6)),
    _metric_washer(42.0, (45.0, 78.0), (8.0, 9.0)),
    _metric_washer(48.0, (52.0, 92.0), (8.0, 9.0)),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class RodGrade:
    """A grade of anchor rod, ASTM F1554, seen second-hand. [MPa], [mm]"""

    name: str
    yield_mpa: float
    tensile_mpa: float  # least specified
    tensile_max_mpa: float
    diameter_min_mm: float
    diameter_max_mm: float
    colour: str
    provenance: Provenance = Provenance.SECOND_HAND


def _grade(
    name: str, ksi: tuple[float, float, float], sizes: tuple[str, str], colour: str
) -> RodGrade:
    return RodGrade(
        name=name,
        yield_mpa=ksi[0] * KSI_MPA,
        tensile_mpa=ksi[1] * KSI_MPA,
        tensile_max_mpa=ksi[2] * KSI_MPA,
        diameter_min_mm=_mm(sizes[0]),
        diameter_max_mm=_mm(sizes[1]),
        colour=colour,
    )


# name, (yield, least and largest tensile) [ksi], (least, largest) diameter [in], colour
GRADES = {
    "36": _grade("36", (36, 58, 80), ("1/2", "4"), "blue"),
    "55": _grade("55", (55, 75, 95), ("1/4", "4"), "yellow"),
    "105": _grade("105", (105, 125, 150), ("1/4", "3"), "red"),
}

# AISC 360-16 Table J3.4, seen second-hand: rod diameter, least edge distance. [in]
_EDGE_ROWS = (
    ("1/2", "3/4"),
    ("5/8", "7/8"),
    ("3/4", "1"),
    ("7/8", "1 1/8"),
    ("1", "1 1/4"),
    ("1 1/8", "1 1/2"),
    ("1 1/4", "1 5/8"),
)
MIN_EDGE_DISTANCES = tuple((_mm(rod), _mm(edge)) for rod, edge in _EDGE_ROWS)


def find_thread(diameter_mm: float) -> RodThread | None:
    """Find the coarse thread and nut of a rod, inch or metric; None if not listed.

    Parameters
    ----------
    diameter_mm : float
        Nominal diameter, matched to `SIZE_TOLERANCE_MM`. [mm]
    """
    threads = (*THREADS, *METRIC_THREADS)
    return next((t for t in threads if _same_size(t.diameter_mm, diameter_mm)), None)


def list_washers(diameter_mm: float) -> tuple[Washer, ...]:
    """List the plain washers of a rod, type A or ISO 7089; empty if not listed.

    Parameters
    ----------
    diameter_mm : float
        Nominal diameter, matched to `SIZE_TOLERANCE_MM`. [mm]
    """
    washers = (*WASHERS, *METRIC_WASHERS)
    return tuple(w for w in washers if _same_size(w.diameter_mm, diameter_mm))


def find_nut_and_washer_mm(diameter_mm: float) -> tuple[float, float]:
    """Find the greatest nut and the thickest washer of a rod; NaN if not listed. [mm]

    Parameters
    ----------
    diameter_mm : float
        Nominal diameter, matched to `SIZE_TOLERANCE_MM`. [mm]
    """
    thread, washers = find_thread(diameter_mm), list_washers(diameter_mm)
    if thread is None or not washers:
        return float("nan"), float("nan")
    # ISO 7089 gives the greatest thickness of every size, the inch table of some only.
    metric = any(washer in METRIC_WASHERS for washer in washers)
    thickest = (
        washer.thickness_max_mm
        if metric and washer.thickness_max_mm is not None
        else washer.thickness_mm
        for washer in washers
    )
    return thread.nut_max_mm, max(thickest)


def min_edge_distance_mm(diameter_mm: float) -> float:
    """Return the least distance from a hole's centre to the plate's edge. [mm]

    AISC 360-16 Table J3.4 (seen second-hand). A size between rows takes the next
    larger row, one above 1 1/4 in takes 1.25 d.

    Parameters
    ----------
    diameter_mm : float
        Rod diameter. [mm]
    """
    for rod, edge in MIN_EDGE_DISTANCES:
        if diameter_mm <= rod + SIZE_TOLERANCE_MM:
            return edge
    return 1.25 * diameter_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateWasher:
    """A square or round plate washer that covers an opened hole. [mm]

    `from_table` is False for a size beyond the table, computed by its rule.
    """

    size_mm: float
    thickness_mm: float
    from_table: bool


def select_plate_washer(hole_mm: float, rod_mm: float) -> PlateWasher:
    """Select the smallest plate washer that covers a hole, the rod anywhere in it.

    With the rod against one side, the far side of the hole is hole - rod / 2 from the
    rod's centre, so size >= 2 hole - rod, as in every row of AISC Design Guide 1 Table
    2.3 (seen second-hand). Sizes and thicknesses are that table's, no thinner than its
    row for the rod. Past its largest: to the next 1/2 in, a third of the rod's diameter
    thick (AISC Design Guide 7, seen second-hand) and no thinner than the last row.

    Parameters
    ----------
    hole_mm : float
        Diameter of the hole, or length of the slot. [mm]
    rod_mm : float
        Diameter of the rod. [mm]
    """
    needed = 2.0 * hole_mm - rod_mm
    rows = [
        (h.diameter_mm, h.washer_mm, h.washer_thickness_mm)
        for h in BASE_PLATE_HOLES
        if h.washer_mm is not None and h.washer_thickness_mm is not None
    ]
    for diameter, size, thickness in rows:
        large = diameter >= rod_mm - SIZE_TOLERANCE_MM
        if large and size >= needed - 1e-6:
            return PlateWasher(size_mm=size, thickness_mm=thickness, from_table=True)
    step = INCH_MM / 2.0
    return PlateWasher(
        size_mm=step * ceil((needed - 1e-6) / step),
        thickness_mm=max(rows[-1][2], rod_mm / 3.0),
        from_table=False,
    )


def _same_size(size_mm: float, diameter_mm: float) -> bool:
    return abs(size_mm - diameter_mm) <= SIZE_TOLERANCE_MM
