"""The largest misclosure of a level net, over all its loops.

Set-ups and points are the nodes of a graph, each reading y an edge. A loop goes from
set-up to set-up through points that both have read, no set-up and no point twice. Its
misclosure is the sum, with alternating sign, of its readings::

    s1 --p1-- s2 --p2-- ... sk --pk-- s1
    sum over i of y(s_i, p_i) - y(s_i+1, p_i)            0 without errors

The largest of a *basis* of loops depends on the basis chosen, hence on the order of the
readings; the largest of all loops does not.

Through two set-ups the largest is exact: the range of the differences of the points
that both read. Through three and more, the sequences of set-ups are listed and each is
bounded by the sum of its largest differences; those whose bound exceeds the largest
misclosure so far are given distinct points. Simple loops grow exponentially in number,
so this has a cap: see `find_largest_misclosure`.
"""

from dataclasses import dataclass

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray

MAX_SEQUENCES = 20_000
"""Largest number of set-up sequences of one length, each start counted. Project choice.

Six set-ups that all share points have 720, eight have 20,160 through six of them.
"""

MAX_CHOICES = 20_000
"""Largest number of points tried, over all sequences. Project choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LargestMisclosure:
    """The largest misclosure of a net, and the set-ups of its loop."""

    misclosure_mm: float  # in size; 0.0 without a loop
    setups: tuple[int, ...]  # of the loop, in its order; empty without a loop
    complete: bool  # no loop was left out


def find_largest_misclosure(
    residual_mm: FloatArray, setup: IntArray, point: IntArray
) -> LargestMisclosure:
    """Find the largest misclosure over all loops of a level net.

    Parameters
    ----------
    residual_mm : array, shape (n,)
        Readings less any height of the line of sight of their set-up and any height of
        their point, both of which cancel around a loop. Of least squares they are
        small, which keeps the search short. [mm]
    setup, point : arrays of int, shape (n,)
        Set-up and point of each reading, from 0, no pair of them twice.

    Returns
    -------
    LargestMisclosure
        Exact for loops through two set-ups, whatever their number. Loops through more
        are searched by their number of set-ups, until one number has more than
        `MAX_SEQUENCES` sequences, and until `MAX_CHOICES` points were tried. Beyond
        that `complete` is False, and the misclosure is the largest of the loops
        searched: loops through many set-ups that all share points may be worse.
        What is searched does not depend on the order of set-ups, points and readings.
    """
    m = int(setup.max(initial=-1)) + 1
    table = np.full((m, int(point.max(initial=-1)) + 1), np.nan)
    table[setup, point] = residual_mm
    largest = np.full((m, m), -np.inf)  # of y(s, p) - y(t, p), over the shared points
    for s in range(m):
        read = ~np.isnan(table[s])
        difference = np.where(
            np.isnan(table[:, read]), -np.inf, table[s, read] - table[:, read]
        )
        largest[s] = difference.max(axis=1, initial=-np.inf)
    shared = np.isfinite(largest) & ~np.eye(m, dtype=np.bool_)
    pair_range = np.where(shared, largest + largest.T, 0.0)
    best = float(pair_range.max(initial=0.0))
    worst = divmod(int(pair_range.argmax()), m) if best > 0.0 else ()
    search = _LoopSearch(table, largest, best, worst)
    complete = search.run(shared)
    return LargestMisclosure(
        misclosure_mm=search.best, setups=search.setups, complete=complete
    )


class _LoopSearch:
    """Search of the loops through three and more set-ups."""

    def __init__(
        self,
        table: FloatArray,
        largest: FloatArray,
        best: float,
        setups: tuple[int, ...],
    ) -> None:
        self.table, self.largest = table, largest
        self.best, self.setups = best, setups
        self.choices = 0

    def run(self, shared: BoolArray) -> bool:
        """Search every number of set-ups; return whether no loop was left out."""
        # A path of set-ups in each row; every loop is found once from each of its
        # set-ups, so that their number, and with it the cap, depends on no order.
        path = np.argwhere(shared).astype(np.intp)
        for _ in range(3, len(shared) + 1):
            if len(path) > MAX_SEQUENCES:
                return False
            reach = shared[path[:, -1]]
            reach[np.arange(len(path))[:, None], path] = False
            if np.count_nonzero(reach) > MAX_SEQUENCES:
                return False
            row, after = np.nonzero(reach)
            path = np.column_stack([path[row], after])
            if not len(path):
                break
            closed = shared[path[:, -1], path[:, 0]] & (path[:, 0] == path.min(axis=1))
            self._search_sequences(path[closed])
            if self.choices > MAX_CHOICES:
                return False
        return True

    def _search_sequences(self, sequences: IntArray) -> None:
        """Choose distinct points for sequences whose bound exceeds the worst loop."""
        bound = self.largest[sequences, np.roll(sequences, -1, axis=1)].sum(axis=1)
        for i in np.argsort(-bound, kind="stable").tolist():
            if bound[i] <= self.best or self.choices > MAX_CHOICES:
                return
            found = self._largest_of_sequence(sequences[i])
            if found > self.best:
                self.best, self.setups = found, tuple(sequences[i].tolist())

    def _largest_of_sequence(self, sequence: IntArray) -> float:
        """Return the largest misclosure of one sequence of set-ups, each point once.

        Of k differences each takes one of its k largest points: of any k of them, one
        is left over by the other k - 1.
        """
        k = sequence.size
        difference = self.table[sequence] - self.table[np.roll(sequence, -1)]
        order = np.argsort(np.where(np.isnan(difference), np.inf, -difference), axis=1)
        points = order[:, :k]
        value = np.take_along_axis(difference, points, axis=1)
        # What the differences from the i-th on can add at most.
        rest = np.append(np.cumsum(value[::-1, 0])[::-1], 0.0)
        least = [self.best]

        def extend(i: int, total: float, used: frozenset[int]) -> None:
            if i == k:
                least[0] = max(least[0], total)
                return
            for p, step in zip(points[i].tolist(), value[i].tolist(), strict=True):
                self.choices += 1
                if not total + step + rest[i + 1] > least[0]:
                    return  # the next points are smaller still, or not shared
                if p not in used:
                    extend(i + 1, total + step, used | {p})

        extend(0, 0.0, frozenset())
        return least[0]
