"""The job's own spreads, inferred with a part for outliers.

Noise in some hundred rod coordinates looks like bad rods, so that readings alone say of
every building that it does not go together; and one normal spread for all explains a
real mistake away. Hence a mixture over items of five kinds: reference lines, groups
along and in (about their line), turns of groups, rods in their group::

    item ~ (1 - p) N(0, s_k^2 + noise) + p N(0, (5 s_k)^2 + (4 d_k)^2 + noise)
    s_k = f g_k d_k,  f lognormal(1.4, 0.6),  g_k lognormal(1, 0.4)

with default spreads d_k. The share of outliers p is unknown, too, log-uniform from
0.002 to 0.1: a fixed one takes the noise of a careful crew for outliers. Draws of
(f, g, p) are weighted by the likelihood of all items and resampled; each item is then
an outlier or not by its own odds. Project choice, tuned on simulated jobs
(`python -m tests.bench.fit_up`); importance resampling as in Gelman et al., *Bayesian
Data Analysis*, 3rd ed., 2013, 10.4.
"""

from dataclasses import dataclass

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray

KINDS = ("line", "along", "in", "turn", "rod")
DEFAULT_SPREADS = np.array([0.8, 0.25, 0.7, 0.002, 0.45])
"""Standard deviations by kind, d above. [mm, rad for the turn] Project choice."""

COMMON_FACTOR = (1.4, 0.6)  # median and log standard deviation of f
KIND_FACTOR = (1.0, 0.4)  # the same of each g
OUTLIER_SHARES = (0.002, 0.1)
"""Range of the share of outliers p, even in its logarithm. Project choice."""
OUTLIER_SCALE = 5.0
OUTLIER_DEFAULT_SCALE = 4.0
HYPER_DRAWS = 12_000
MAX_TERMS = 400_000  # of draws times items at once: keeps arrays in the cache


@dataclass(frozen=True, slots=True, kw_only=True)
class SpreadItems:
    """Items whose spread is inferred, n of them with up to two coordinates.

    Attributes
    ----------
    value : (n, 2) estimates from the readings; 0 where there is no such coordinate.
    noise : (n, 2) variances of these estimates.
    rod_part : (n, 2) factor of the rods' own variance in the estimate, in addition.
    used : (n, 2) which coordinates there are.
    kind : (n,) index in `KINDS`.
    """

    value: FloatArray
    noise: FloatArray
    rod_part: FloatArray
    used: BoolArray
    kind: IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class SpreadDraws:
    """Draws of the spreads and of which items are outliers.

    `variance` (n_draws, n_items) is that of each item, as an outlier or not.
    `effective` is how many equal weights all draws of the spreads were worth.
    """

    spread: FloatArray  # (n_draws, 5)
    outlier: BoolArray  # (n_draws, n_items)
    variance: FloatArray
    effective: float = np.inf

    def select(self, draws: IntArray) -> "SpreadDraws":
        """Return some of the draws."""
        return SpreadDraws(
            spread=self.spread[draws],
            outlier=self.outlier[draws],
            variance=self.variance[draws],
            effective=self.effective,
        )


def build_median_spreads(kind: IntArray) -> SpreadDraws:
    """Build the prior's median spreads, without outliers, as one draw.

    Parameters
    ----------
    kind : array of int, shape (n_items,)
        Index in `KINDS` of each item.
    """
    spread = COMMON_FACTOR[0] * KIND_FACTOR[0] * DEFAULT_SPREADS[None]
    return SpreadDraws(
        spread=spread,
        outlier=np.zeros((1, kind.size), dtype=bool),
        variance=spread[:, kind] ** 2,
    )


def draw_spreads(
    items: SpreadItems, n_draws: int, rng: np.random.Generator
) -> SpreadDraws:
    """Draw spreads and outliers from what the readings say of all items.

    Parameters
    ----------
    items : SpreadItems
    n_draws : int
        Draws to keep. [1]
    rng : Generator
    """
    factor = np.exp(
        np.log(COMMON_FACTOR[0]) + COMMON_FACTOR[1] * rng.normal(size=HYPER_DRAWS)
    )
    each = np.exp(
        np.log(KIND_FACTOR[0])
        + KIND_FACTOR[1] * rng.normal(size=(HYPER_DRAWS, len(KINDS)))
    )
    spread = factor[:, None] * each * DEFAULT_SPREADS
    least, most = np.log(OUTLIER_SHARES)
    share = np.exp(rng.uniform(least, most, size=HYPER_DRAWS))
    step = max(1, MAX_TERMS // max(1, items.kind.size))
    weight = np.concatenate(
        [
            np.logaddexp(
                *_log_odds(items, spread[i : i + step], share[i : i + step])
            ).sum(axis=1)
            for i in range(0, HYPER_DRAWS, step)
        ]
    )
    weight = np.exp(weight - weight.max())
    # Systematic resampling: one random offset for all draws keeps their noise small.
    ladder = (np.arange(n_draws) + rng.random()) / n_draws
    total = np.cumsum(weight)
    chosen = np.searchsorted(total, ladder * total[-1])
    spread = spread[chosen]
    usual, wild = _log_odds(items, spread, share[chosen])
    outlier = rng.random(usual.shape) < 1.0 / (1.0 + np.exp(usual - wild))
    small, large = _variances(items.kind, spread)
    return SpreadDraws(
        spread=spread,
        outlier=outlier,
        variance=np.where(outlier, large, small),
        # Kong's effective sample size: J. S. Liu, 2001 (from memory).
        effective=float(total[-1] ** 2 / (weight**2).sum()),
    )


def _variances(kind: IntArray, spread: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the variances (draws, items) of usual items and of outliers."""
    small = spread[:, kind] ** 2
    extra = (OUTLIER_DEFAULT_SCALE * DEFAULT_SPREADS[kind]) ** 2
    return small, OUTLIER_SCALE**2 * small + extra


def _log_odds(
    items: SpreadItems, spread: FloatArray, outlier_share: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the log densities (draws, items) of usual items and of outliers."""
    rod = spread[:, KINDS.index("rod"), None] ** 2
    squares = items.value**2
    logs = []
    for share, variance in zip(
        (1.0 - outlier_share, outlier_share),
        _variances(items.kind, spread),
        strict=True,
    ):
        log = np.repeat(np.log(share)[:, None], variance.shape[1], axis=1)
        for axis in range(2):
            total = variance + rod * items.rod_part[:, axis] + items.noise[:, axis]
            density = -0.5 * (np.log(total) + squares[:, axis] / total)
            log += np.where(items.used[:, axis], density, 0.0)
        logs.append(log)
    return logs[0], logs[1]
