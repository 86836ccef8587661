"""The corners of an exchange document, and its walls and diagonals by their names."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations

from jobs.anchor_plan.values import Corner
from jobs.exchange import vocabulary as words
from jobs.exchange.input.json_reader import JsonReader
from jobs.exchange.input.outline_rules import find_ambiguous_pairs, find_outline_errors

MAX_LISTED_NAMES = 12


@dataclass(frozen=True, slots=True)
class OutlineInput:
    """What is known of the corners.

    Attributes
    ----------
    outline : in order; None where they do not make one. [mm]
    names : of all corners, also where they make no outline; None where not even
        those are certain.
    """

    outline: tuple[Corner, ...] | None = None
    names: tuple[str, ...] | None = None

    @property
    def walls(self) -> dict[str, tuple[str, str]]:
        """The walls by their names; none without an outline."""
        names = [each.name for each in self.outline or ()]
        pairs = zip(names, [*names[1:], *names[:1]], strict=True)
        return {"-".join(pair): pair for pair in pairs}

    def wall_length(self, wall: tuple[str, str]) -> float:
        """Length of a wall on the steel line. [mm]"""
        at = {each.name: (each.x, each.y) for each in self.outline or ()}
        return math.dist(at[wall[0]], at[wall[1]])

    def describe_unknown_wall(self, named: str) -> str:
        """Say why a name is no wall's; empty where it is one, or cannot be told."""
        if self.outline is not None:
            return (
                ""
                if named in self.walls
                else (
                    f"There is no wall {named}; the walls, named by their corners in "
                    f"this order, are {list_names(list(self.walls))}."
                )
            )
        pairs = {f"{a}-{b}" for a, b in permutations(self.names or (), 2)}
        if self.names is None or named in pairs:
            return ""
        return (
            f"There is no wall {named}; a wall is named by two corners, which are "
            f"{list_names(self.names)}."
        )


def list_names(names: Sequence[str]) -> str:
    """Write names in a row, the first dozen of them."""
    shown = ", ".join(names[:MAX_LISTED_NAMES])
    return f"{shown}, …" if len(names) > MAX_LISTED_NAMES else shown


def parse_outline(cursor: JsonReader) -> OutlineInput:
    """Read the outline, as far as it can be read."""
    before = cursor.collector.count
    corners: list[Corner] = []
    named = isinstance(cursor.value, list)
    for item in cursor.read_list(3, words.MAX_CORNERS):
        members = item.read_object(("corner", "x", "y"))
        name = members["corner"].read_name() if "corner" in members else ""
        x, y = (members[axis].read_mm() if axis in members else 0.0 for axis in "xy")
        twice = any(name == each.name for each in corners)
        if name and twice:
            members["corner"].add_issue(f"There are two corners named {name}.")
        named = named and bool(name) and not twice
        corners.append(Corner(name=name, x=x, y=y))
    names = tuple(each.name for each in corners) if named and corners else None
    if cursor.collector.count > before:
        return OutlineInput(names=names)
    for index, message in find_outline_errors(corners):
        (cursor if index is None else cursor.child(index)).add_issue(message)
    for key in find_ambiguous_pairs([each.name for each in corners]):
        cursor.add_issue(
            f"With these corner names {key} could mean two different walls or "
            f"diagonals; name the corners without hyphens."
        )
    fits = cursor.collector.count == before
    return OutlineInput(tuple(corners) if fits else None, names)


def parse_diagonals(
    cursor: JsonReader | None, corners: OutlineInput
) -> tuple[tuple[str, str], ...]:
    """Read the diagonals; both, where none are named and there are four corners."""
    if cursor is None:
        if corners.outline is None or len(corners.outline) != 4:
            return ()
        a, b, c, d = (each.name for each in corners.outline)
        return ((a, c), (b, d))
    read: dict[frozenset[str], tuple[str, str]] = {}
    for item in cursor.read_list():
        ends = [end.read_name() for end in item.read_list(2, 2)]
        if len(ends) != 2 or not all(ends):
            continue
        if frozenset(ends) in read:
            item.add_issue(f"The diagonal {ends[0]}-{ends[1]} is there twice.")
        read[frozenset(ends)] = (ends[0], ends[1])
        if corners.names is not None:
            _check_diagonal(item, ends, corners)
    return tuple(read.values())


def _check_diagonal(item: JsonReader, ends: list[str], corners: OutlineInput) -> None:
    names = corners.names or ()
    for index, end in enumerate(ends):
        if end not in names:
            item.child(index).add_issue(
                f"There is no corner {end}; the corners are {list_names(names)}."
            )
    if corners.outline is None or not set(ends) <= set(names):
        return
    apart = abs(names.index(ends[0]) - names.index(ends[1]))
    if apart in (0, 1, len(names) - 1):
        item.add_issue("A diagonal joins two different corners that share no wall.")
