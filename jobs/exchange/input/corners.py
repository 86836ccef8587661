"""Corners, walls and diagonals of a building document."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations

from jobs.anchor_plan.values import Corner
from jobs.exchange.input.building_format import CornerMembers
from jobs.exchange.input.json_reader import JsonReader
from jobs.exchange.input.members import read_members
from jobs.exchange.input.outline_rules import find_ambiguous_pairs, find_outline_issues
from jobs.exchange.issues import IssueCode
from jobs.exchange.vocabulary import MIN_CORNERS

MAX_LISTED_NAMES = 12


@dataclass(frozen=True, slots=True)
class OutlineInput:
    """The outline, as far as it could be read.

    Attributes
    ----------
    outline : in order; None if the corners make no outline. [mm]
    names : of all corners, also if they make no outline; None if not all can be read.
    """

    outline: tuple[Corner, ...] | None = None
    names: tuple[str, ...] | None = None

    @property
    def walls(self) -> dict[str, tuple[str, str]]:
        """The walls by their names; empty without an outline."""
        names = [each.name for each in self.outline or ()]
        pairs = zip(names, [*names[1:], *names[:1]], strict=True)
        return {"-".join(pair): pair for pair in pairs}

    def wall_length(self, wall: tuple[str, str]) -> float:
        """Return a wall's length on the steel line. [mm]"""
        at = {each.name: (each.x, each.y) for each in self.outline or ()}
        return math.dist(at[wall[0]], at[wall[1]])

    def describe_unknown_wall(self, named: str) -> str:
        """Return why a name is no wall's; empty if it is one, or may be one."""
        if self.outline is not None:
            if named in self.walls:
                return ""
            return (
                f"There is no wall {named}; the walls, named by their corners in this "
                f"order, are {list_names(list(self.walls))}."
            )
        pairs = {f"{a}-{b}" for a, b in permutations(self.names or (), 2)}
        if self.names is None or named in pairs:
            return ""
        return (
            f"There is no wall {named}; a wall is named by two corners, which are "
            f"{list_names(self.names)}."
        )


def list_names(names: Sequence[str]) -> str:
    """Write names in a row, at most the first dozen of them."""
    listed = ", ".join(names[:MAX_LISTED_NAMES])
    return f"{listed}, …" if len(names) > MAX_LISTED_NAMES else listed


def parse_outline(reader: JsonReader, items: Sequence[JsonReader]) -> OutlineInput:
    """Parse the outline, as far as it can be read.

    Parameters
    ----------
    reader : at the outline as a whole.
    items : its corners.
    """
    before = reader.collector.count
    corners: list[Corner] = []
    taken: set[str] = set()
    all_named = bool(items)
    for item in items:
        members = read_members(item, CornerMembers)
        name = members.get("corner", "")
        if name in taken:
            item.child("corner").add_issue(
                f"There are two corners named {name}.", IssueCode.DUPLICATE
            )
        all_named = all_named and bool(name) and name not in taken
        if name:
            taken.add(name)
        corner = Corner(name=name, x=members.get("x", 0.0), y=members.get("y", 0.0))
        corners.append(corner)
    names = tuple(each.name for each in corners) if all_named else None
    if len(corners) < MIN_CORNERS or reader.collector.count > before:
        return OutlineInput(names=names)
    # The rules of an outline need every point, so they wait until all corners are read.
    for index, message in find_outline_issues(corners):
        (reader if index is None else items[index]).add_issue(message)
    for key in find_ambiguous_pairs([each.name for each in corners]):
        reader.add_issue(
            f"With these corner names {key} could mean two different walls or "
            "diagonals; name the corners without hyphens."
        )
    complete = reader.collector.count == before
    return OutlineInput(tuple(corners) if complete else None, names)


def parse_diagonals(
    items: Sequence[JsonReader] | None, corners: OutlineInput
) -> tuple[tuple[str, str], ...]:
    """Parse the diagonals.

    If there are none in the document and the outline has four corners, both are meant.
    """
    if items is None:
        if corners.outline is None or len(corners.outline) != 4:
            return ()
        a, b, c, d = (each.name for each in corners.outline)
        return ((a, c), (b, d))
    read: dict[frozenset[str], tuple[str, str]] = {}
    for item in items:
        ends = [end.read_name() for end in item.read_list(2, 2)]
        if len(ends) != 2 or not all(ends):
            continue
        # A diagonal from either end is the same diagonal.
        if frozenset(ends) in read:
            item.add_issue(
                f"The diagonal {ends[0]}-{ends[1]} appears twice.", IssueCode.DUPLICATE
            )
        read[frozenset(ends)] = (ends[0], ends[1])
        if corners.names is not None:
            _check_diagonal(item, ends, corners)
    return tuple(read.values())


def _check_diagonal(item: JsonReader, ends: list[str], corners: OutlineInput) -> None:
    names = corners.names or ()
    for index, end in enumerate(ends):
        if end not in names:
            item.child(index).add_issue(
                f"There is no corner {end}; the corners are {list_names(names)}.",
                IssueCode.UNKNOWN_NAME,
            )
    if corners.outline is None or not set(ends) <= set(names):
        return
    apart = abs(names.index(ends[0]) - names.index(ends[1]))
    if apart in (0, 1, len(names) - 1):
        item.add_issue("A diagonal joins two different corners that share no wall.")
