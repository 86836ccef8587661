"""Second-order cones of dimension three, and the 4 x 4 systems they reduce to.

A vector u = (u0, u1, u2), on the first axis, is in the cone where u0 >= |(u1, u2)|.
Arrays are (3, m, g) for vectors, (3, 2, m, g) for slacks and multipliers together, and
(g,) for the entries of the systems: one value for each plate.

The scaling is that of Nesterov and Todd: W z = W^-1 s, W = eta [[w0, w'], [w, I + w w'
/ (1 + w0)]], so W^-2 = (2 Jw (Jw)' - J) / eta^2 with J = diag(1, -1, -1); formulas as
in L. Vandenberghe, "The CVXOPT linear and quadratic cone program solvers", 2010,
section 4.2.
"""

from dataclasses import dataclass

import numpy as np

from checks.engine.arrays import FloatArray

TINY = 1e-300  # keeps divisors above zero without changing any ordinary number


@dataclass(slots=True)
class NesterovToddScaling:
    """Nesterov-Todd scaling of every cone, with the determinants it came from."""

    w: FloatArray  # (3, m, g) unit hyperbolic scaling point
    eta: FloatArray  # (m, g)
    det: FloatArray  # (2, m, g) of slacks and multipliers

    def inverse_square(self, u: FloatArray) -> FloatArray:
        """Return W^-2 u."""
        w = self.w
        dot = 2.0 * (w[0] * u[0] - w[1] * u[1] - w[2] * u[2])
        result: FloatArray = -dot * w
        result += u
        np.negative(result[0], out=result[0])
        result /= self.eta * self.eta
        return result

    def apply(self, u: FloatArray) -> FloatArray:
        """Return W u."""
        w = self.w
        dot = w[1] * u[1] + w[2] * u[2]
        lift = u[0] + dot / (1.0 + w[0])
        result: FloatArray = lift * w
        result += u
        result[0] = w[0] * u[0] + dot
        result *= self.eta
        return result

    def unapply(self, u: FloatArray) -> FloatArray:
        """Return W^-1 u."""
        w = self.w
        dot = w[1] * u[1] + w[2] * u[2]
        lift = dot / (1.0 + w[0]) - u[0]
        result: FloatArray = lift * w
        result += u
        result[0] = w[0] * u[0] - dot
        result /= self.eta
        return result


def cone_determinant(u: FloatArray) -> FloatArray:
    """Compute u0^2 - |(u1, u2)|^2, kept above zero.

    As a product of two factors: the difference of squares would lose its digits at
    the edge of the cone, where every iteration ends.
    """
    reach = np.sqrt(u[1] * u[1] + u[2] * u[2])
    result: FloatArray = np.maximum((u[0] - reach) * (u[0] + reach), TINY)
    return result


def nesterov_todd_scaling(u: FloatArray) -> NesterovToddScaling:
    """Compute the scaling of slacks and multipliers (3, 2, m, g) inside the cone."""
    own = cone_determinant(u)
    root = np.sqrt(own)
    unit = u / root
    a, b = unit[:, 0], unit[:, 1]
    gamma2 = 2.0 * (1.0 + (a * b).sum(axis=0))
    w = a - b
    w[0] = a[0] + b[0]
    w /= np.sqrt(gamma2)
    return NesterovToddScaling(w, np.sqrt(root[0] / root[1]), own)


def inverse_step_length(u: FloatArray, du: FloatArray, det_u: FloatArray) -> FloatArray:
    """Compute one over the longest step (2, g) from u along du inside all cones.

    Both are (3, 2, m, g); `det_u` is their `cone_determinant`. The inverse stays
    finite where a direction never leaves the cone.
    """
    squares, product = du * du, u * du
    a = squares[0] - squares[1] - squares[2]
    b = product[0] - product[1] - product[2]
    root = np.sqrt(np.maximum(b * b - a * det_u, 0.0))
    result: FloatArray = ((root - b) / det_u).max(axis=1)
    return result


class PlateSystem:
    """A symmetric 4 x 4 system per plate, eliminated in the order t, x, y, rotation.

    Written out by hand: a stacked `numpy.linalg.solve` of 4 x 4 systems spends most of
    its time on overhead. The rotation comes last, because only its pivot can vanish.
    """

    def __init__(self, entries: FloatArray) -> None:
        """Store tt, tx, ty, tq, xx, xy, xq, yy, yq and qq of every plate, (10, g)."""
        self.tt, self.tx, self.ty, self.tq = entries[:4]
        self.xx, self.xy, self.xq, self.yy, self.yq, self.qq = entries[4:]

    def factor(self, curve: FloatArray | None) -> None:
        """Factor as L D L'; `curve` (g,) is the rotation's own second derivative."""
        self.lx, self.ly, self.lq = (v / self.tt for v in (self.tx, self.ty, self.tq))
        xx = self.xx - self.lx * self.tx
        xy = self.xy - self.lx * self.ty
        xq = self.xq - self.lx * self.tq
        self.dx = np.maximum(xx, TINY)
        self.mx, self.mq = xy / self.dx, xq / self.dx
        self.dy = np.maximum(self.yy - self.ly * self.ty - self.mx * xy, TINY)
        yq = self.yq - self.ly * self.tq - self.mx * xq
        self.nq = yq / self.dy
        qq = self.qq - self.lq * self.tq - self.mq * xq - self.nq * yq
        # A relative floor keeps the rotation still where nothing determines it: a
        # single rod, or all rods in one place.
        qq = np.maximum(qq, 1e-13 * self.xx)
        if curve is None:
            self.dq = np.ones_like(qq)
        else:
            self.dq = np.maximum(qq + curve, 0.5 * qq)
        self.curve = self.dq - qq

    def solve(self, rhs: FloatArray) -> FloatArray:
        """Solve for a right-hand side in the order t, rotation, x, y."""
        t = rhs[0]
        x = rhs[2] - self.lx * t
        y = rhs[3] - self.ly * t - self.mx * x
        q = rhs[1] - self.lq * t - self.mq * x - self.nq * y
        q = q / self.dq
        y = y / self.dy - self.nq * q
        x = x / self.dx - self.mx * y - self.mq * q
        t = t / self.tt - self.lx * x - self.ly * y - self.lq * q
        return np.stack((t, q, x, y))
