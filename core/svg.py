"""SVG primitives shared by all drawings: scale, path data and rotated text.

A drawing is laid out as plain values in drawing units, x right and y down, and written
by a template. Plan axes are in mm, x right and y up. Django is not imported.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Viewport:
    """Scale and place of plan axes on a drawing."""

    scale: float  # drawing units per mm
    origin: tuple[float, float]  # drawing units of the plan's (0, 0)

    def points(self, plan_mm: FloatArray) -> FloatArray:
        """Convert plan points to drawing units.

        Parameters
        ----------
        plan_mm : array, shape (..., 2)
            Points on plan axes, x right and y up. [mm]

        Returns
        -------
        array, shape (..., 2)
            The same points, x right and y down. [drawing units]
        """
        return np.asarray(self.origin) + self.vectors(plan_mm)

    def vectors(self, plan_mm: FloatArray) -> FloatArray:
        """Convert plan vectors, shape (..., 2) [mm], to drawing units."""
        return np.asarray(plan_mm, dtype=float) * (self.scale, -self.scale)


def format_coordinate(value: float) -> str:
    """Write a coordinate to a tenth of a drawing unit, never as `-0`."""
    text = f"{value:.1f}"
    return "0" if text in {"-0.0", "0.0"} else text.removesuffix(".0")


def path_data(points: FloatArray, *, closed: bool = False) -> str:
    """Write path data through points, shape (n, 2). [drawing units]"""
    steps = " L".join(
        f"{format_coordinate(x)} {format_coordinate(y)}" for x, y in points
    )
    return f"M{steps}{' Z' if closed else ''}"


def polygon_points(points: FloatArray) -> str:
    """Write the `points` of a polygon, shape (n, 2). [drawing units]"""
    return " ".join(f"{x:.2f},{y:.2f}" for x, y in points)


def round_point(point: FloatArray, decimals: int = 2) -> tuple[float, float]:
    """Return a point as two plain numbers, never -0.0. [drawing units]"""
    x, y = (round(float(part), decimals) + 0.0 for part in point)
    return x, y


def normalise(vectors: FloatArray) -> FloatArray:
    """Scale vectors, shape (..., 2), to length 1; zero vectors stay zero."""
    lengths = np.linalg.norm(vectors, axis=-1, keepdims=True)
    return np.asarray(vectors / np.where(lengths > 0, lengths, 1.0))


def flip_y(vectors: FloatArray) -> FloatArray:
    """Mirror directions, shape (..., 2), between y up and y down."""
    return np.asarray(np.asarray(vectors, dtype=float) * (1.0, -1.0))


def upright_angle(angle: float) -> float:
    """Turn an angle by half a turn where text along it would be upside down.

    Parameters
    ----------
    angle : float
        Direction of a line of text on a drawing, clockwise since y is down. [rad]

    Returns
    -------
    float
        The angle at which the text is read from below or from the right. [rad]
    """
    if angle > math.pi / 2 - 1e-9:
        return angle - math.pi
    return angle + math.pi if angle <= -math.pi / 2 - 1e-9 else angle


def offset_outline(outline_mm: FloatArray, distance_mm: float) -> FloatArray:
    """Move every edge of an outline outward, with mitred corners.

    Parameters
    ----------
    outline_mm : array, shape (n, 2)
        Corners counter-clockwise, y up. [mm]
    distance_mm : float
        How far each edge moves. [mm]

    Returns
    -------
    array, shape (n, 2)
        The moved corners, in the same order. [mm]
    """
    along = normalise(np.roll(outline_mm, -1, axis=0) - outline_mm)
    outward = np.column_stack([along[:, 1], -along[:, 0]])
    before = np.roll(outward, 1, axis=0)
    # Along the bisector, as far as puts both edges one distance away.
    reach = distance_mm / (1 + np.sum(outward * before, axis=1))
    return np.asarray(outline_mm + (outward + before) * reach[:, None])
