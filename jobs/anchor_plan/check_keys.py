"""Check keys: the one place that writes and parses `setback:S1.2` and its like.

A key is a kind, a colon and what is measured::

    diagonal:A-C  wall:A-B  notch_width:A-B  notch_depth:A-B    two corners
    line:MARK  level:MARK                                       a position
    bay:MARK-MARK  span:MARK-MARK                               two positions
    setback:MARK.R  offset:MARK.R  projection:MARK.R            a rod of a position
    gage:MARK.R-S                                               two rods of a position
    plumb:MARK.in  plumb:MARK.along                             an axis of a position
    benchmark:NAME  strength:NAME                               a name of its own

Only the plan knows whether the corner, position or rod exists: see `check_sheet`.
"""

import re
from enum import StrEnum
from functools import lru_cache
from typing import Literal, NamedTuple, Self, get_args

Axis = Literal["along", "in"]
AXES: tuple[Axis, ...] = get_args(Axis)


class CheckKind(StrEnum):
    """The kind of a check: the word in front of a check key's colon."""

    DIAGONAL = "diagonal"
    WALL = "wall"
    LINE = "line"
    BAY = "bay"
    SPAN = "span"
    SETBACK = "setback"
    OFFSET = "offset"
    GAGE = "gage"
    PROJECTION = "projection"
    LEVEL = "level"
    BENCHMARK = "benchmark"
    STRENGTH = "strength"
    NOTCH_WIDTH = "notch_width"
    NOTCH_DEPTH = "notch_depth"
    PLUMB = "plumb"


NOTCH_KINDS = frozenset({CheckKind.NOTCH_WIDTH, CheckKind.NOTCH_DEPTH})
CORNER_KINDS = frozenset({CheckKind.DIAGONAL, CheckKind.WALL}) | NOTCH_KINDS
"""Kinds measured between two corners of the outline."""

ROD_KINDS = frozenset({CheckKind.SETBACK, CheckKind.OFFSET, CheckKind.PROJECTION})
"""Kinds measured at one rod of a position."""

POSITION_KINDS = (
    frozenset({CheckKind.LINE, CheckKind.LEVEL, CheckKind.GAGE, CheckKind.PLUMB})
    | ROD_KINDS
)
"""Kinds measured at a position."""

PAIR_KINDS = frozenset({CheckKind.BAY, CheckKind.SPAN})
"""Kinds measured between two neighbouring positions."""

NAMED_KINDS = frozenset({CheckKind.BENCHMARK, CheckKind.STRENGTH})
"""Kinds whose subject is named by whoever measures it."""

LEVEL_KINDS = frozenset({CheckKind.LEVEL, CheckKind.BENCHMARK})
"""Kinds read with a level and a grade rod."""

TAPE_KINDS = frozenset(CheckKind) - LEVEL_KINDS - {CheckKind.STRENGTH, CheckKind.PLUMB}
"""Kinds read with a tape."""

_KIND_BY_WORD: dict[str, CheckKind] = {kind.value: kind for kind in CheckKind}
_ROD_NUMBER = re.compile("[1-9][0-9]{0,3}")


class CheckKeyError(ValueError):
    """Text that is no check key."""


class CheckKeyParts(NamedTuple):
    """The parts of a check key; see `CheckKey`."""

    kind: CheckKind
    subject: str
    mark: str | None = None
    rods: tuple[int, ...] = ()
    axis: Axis | None = None
    corners: tuple[str, ...] = ()
    marks: tuple[str, ...] = ()


class CheckKey(str):
    """The key of a check, such as `setback:S1.2`: a string that knows its parts.

    It equals, hashes and serialises as its text, so that it serves as a dictionary
    key, a database value and a JSON member without conversion. The parts are parsed
    when they are first asked for: thousands of keys are written for every plan.

    Raises
    ------
    CheckKeyError
        If the text has no known kind, or not the parts its kind needs.
    """

    __slots__ = ()

    def __new__(cls, text: str) -> Self:
        """Parse the text of a key."""
        _parse(text)
        return str.__new__(cls, text)

    @classmethod
    def for_corners(cls, kind: CheckKind, corners: tuple[str, str]) -> Self:
        """Write the key of a diagonal, wall or notch check."""
        return str.__new__(cls, kind + f":{corners[0]}-{corners[1]}")

    @classmethod
    def for_position(cls, kind: CheckKind, mark: str) -> Self:
        """Write the key of a line or level check."""
        return str.__new__(cls, kind + f":{mark}")

    @classmethod
    def for_pair(cls, kind: CheckKind, marks: tuple[str, str]) -> Self:
        """Write the key of a bay or span check."""
        return str.__new__(cls, kind + f":{marks[0]}-{marks[1]}")

    @classmethod
    def for_rod(cls, kind: CheckKind, mark: str, rod: int) -> Self:
        """Write the key of a setback, offset or projection check."""
        return str.__new__(cls, kind + f":{mark}.{rod}")

    @classmethod
    def for_gage(cls, mark: str, low: int, high: int) -> Self:
        """Write the key of the gage between two rods."""
        return str.__new__(cls, f"gage:{mark}.{low}-{high}")

    @classmethod
    def for_plumb(cls, mark: str, axis: Axis) -> Self:
        """Write the key of a plumb check."""
        return str.__new__(cls, f"plumb:{mark}.{axis}")

    @classmethod
    def for_name(cls, kind: CheckKind, name: str) -> Self:
        """Write the key of a benchmark or a strength sample."""
        return str.__new__(cls, kind + f":{name}")

    @property
    def kind(self) -> CheckKind:
        """The word in front of the colon."""
        return _parse(self).kind

    @property
    def subject(self) -> str:
        """Everything behind the colon."""
        return _parse(self).subject

    @property
    def mark(self) -> str | None:
        """The position, where the check is at one."""
        return _parse(self).mark

    @property
    def rods(self) -> tuple[int, ...]:
        """The rods it is about, numbered from 1: none, one or two."""
        return _parse(self).rods

    @property
    def axis(self) -> Axis | None:
        """The axis of a plumb check."""
        return _parse(self).axis

    @property
    def corners(self) -> tuple[str, ...]:
        """The two corners of a wall, diagonal or notch check.

        Empty where hyphens in the corner names leave it open which two are meant;
        `Check.corners` always has them.
        """
        return _parse(self).corners

    @property
    def marks(self) -> tuple[str, ...]:
        """The two positions of a bay or span check.

        Empty where hyphens in the marks leave it open which two are meant;
        `Check.marks` always has them.
        """
        return _parse(self).marks


@lru_cache(maxsize=8192)
def _parse(text: str) -> CheckKeyParts:
    kind = kind_of(text)
    if kind is None:
        raise CheckKeyError(f"“{text[:120]}” has no kind of check before a colon.")
    subject = text[len(kind) + 1 :]
    if parts := _split_subject(kind, subject):
        return parts
    raise CheckKeyError(f"“{text[:120]}” lacks a part of a {kind} check's key.")


def _split_subject(kind: CheckKind, subject: str) -> CheckKeyParts | None:
    if not subject:
        return None
    if kind in NAMED_KINDS:
        return CheckKeyParts(kind, subject)
    if kind in CORNER_KINDS:
        first, _, second = subject.partition("-")
        if not (first and second):
            return None
        corners = () if "-" in second else (first, second)
        return CheckKeyParts(kind, subject, corners=corners)
    if kind in PAIR_KINDS:
        first, _, second = subject.partition("-")
        if not (first and second):
            return None
        marks = () if "-" in second else (first, second)
        return CheckKeyParts(kind, subject, marks=marks)
    if kind in (CheckKind.LINE, CheckKind.LEVEL):
        return CheckKeyParts(kind, subject, mark=subject)
    mark, _, part = subject.rpartition(".")
    if not mark:
        return None
    if kind is CheckKind.PLUMB:
        axis = next((each for each in AXES if each == part), None)
        return CheckKeyParts(kind, subject, mark, axis=axis) if axis else None
    # A mark may contain dots and hyphens, so the rods are what follows the last dot.
    numbers = part.split("-")
    wanted = 2 if kind is CheckKind.GAGE else 1
    if len(numbers) != wanted or not all(_ROD_NUMBER.fullmatch(n) for n in numbers):
        return None
    return CheckKeyParts(kind, subject, mark, rods=tuple(map(int, numbers)))


def kind_of(text: str) -> CheckKind | None:
    """Return the kind a text names before its colon, whatever follows; else None."""
    word, colon, _ = text.partition(":")
    return _KIND_BY_WORD.get(word) if colon else None


def join_key(kind: str, subject: str, part: str = "") -> str:
    """Join words as somebody typed them to the text of a key, without validation."""
    return f"{kind}:{subject}.{part}" if part else f"{kind}:{subject}"
