"""A total station's point file: point, northing, easting, elevation, description."""

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from fractions import Fraction
from typing import Literal

from core.units import MM_PER_SURVEY_FOOT, MM_PER_UNIT
from jobs.exchange.issues import DocumentError, DocumentIssue, file_error, file_issue
from jobs.exchange.vocabulary import MAX_NAME_LENGTH

PointUnit = Literal["ft", "survey_ft", "m", "mm"]
MM_PER_POINT_UNIT: dict[str, Fraction] = {
    "ft": MM_PER_UNIT["ft"],
    "survey_ft": MM_PER_SURVEY_FOOT,
    "m": MM_PER_UNIT["m"],
    "mm": MM_PER_UNIT["mm"],
}
"""What coordinates may be in. [mm]"""

COLUMN_ORDERS: dict[str, tuple[str, ...]] = {
    "point northing easting elevation description": ("point", "northing", "easting"),
    "point easting northing elevation description": ("point", "easting", "northing"),
}
"""Columns in the orders they come in, by what the page calls them."""

DELIMITERS = {"tab": "\t", "semicolon": ";", "comma": ",", "space": " "}
"""The likelier first where a line could be split by several: words have commas too."""

MAX_POINTS = 20_000
MAX_POINT_FILE_BYTES = 4_000_000  # bytes
MAX_DECIMALS = 6
MAX_DESCRIPTION_LENGTH = 120
MAX_COORDINATE = Decimal(10**10)


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyPoint:
    """One point as surveyed. [mm]"""

    name: str
    northing: float
    easting: float
    elevation: float | None
    description: str
    line: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PointFile:
    """The points of a file.

    Attributes
    ----------
    columns : what the first three are.
    delimiter : by its name, as chosen or found.
    lines : the first lines, split into cells.
    decimals, level_decimals : with which northings and eastings, and elevations,
        are written.
    left : lines that are no points.
    """

    points: tuple[SurveyPoint, ...]
    columns: tuple[str, ...]
    delimiter: str
    lines: tuple[tuple[str, ...], ...]
    decimals: int
    level_decimals: int
    ignored: tuple[DocumentIssue, ...]


def read_points(
    content: bytes, *, unit: PointUnit, order: str = "", delimiter: str = ""
) -> PointFile:
    """Read a point file.

    Parameters
    ----------
    content : the file.
    unit : of all its coordinates.
    order : of the columns, one of `ORDERS`; the first where nothing is said.
    delimiter : one of `DELIMITERS`; found out where nothing is said.

    Raises
    ------
    DocumentError
        If it is no text, too large, or has no points.
    """
    rows, delimiter = _split_rows(content, delimiter)
    columns = COLUMN_ORDERS.get(order) or next(iter(COLUMN_ORDERS.values()))
    points: list[SurveyPoint] = []
    left: list[DocumentIssue] = []
    texts: list[tuple[str, str, str]] = []
    for number, cells in rows:
        found = _parse_point(number, cells, columns, MM_PER_POINT_UNIT[unit])
        if isinstance(found, DocumentIssue):
            left.append(found)
        else:
            points.append(found)
            texts.append((cells[1], cells[2], cells[3] if len(cells) > 3 else ""))
    if not points:
        msg = (
            "No line of this file is a point: a name, a northing, an easting and as a "
            "rule an elevation and a description. Is the separator the right one?"
        )
        raise DocumentError([file_issue("", msg), *left[:20]])
    left += _find_repeated_names(points)
    return PointFile(
        points=tuple(points),
        columns=columns,
        delimiter=delimiter,
        lines=tuple(cells for _, cells in rows[:6]),
        decimals=max(_count_decimals(text) for each in texts for text in each[:2]),
        level_decimals=max(_count_decimals(each[2]) for each in texts),
        ignored=tuple(left),
    )


def _split_rows(
    content: bytes, delimiter: str
) -> tuple[list[tuple[int, tuple[str, ...]]], str]:
    """Split a file into lines and cells."""
    if len(content) > MAX_POINT_FILE_BYTES:
        msg = f"A point file has at most {MAX_POINT_FILE_BYTES // 1_000_000} MB; send it in parts."
        raise file_error(msg)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        msg = f"This is not UTF-8 text, at byte {error.start}: save it as UTF-8."
        raise file_error(msg) from None
    lines = [(i, line) for i, line in enumerate(text.splitlines(), 1) if line.strip()]
    if len(lines) > MAX_POINTS:
        msg = f"There are more than {MAX_POINTS} lines; send them in parts."
        raise file_error(msg)
    delimiter = (
        delimiter
        if delimiter in DELIMITERS
        else _guess_delimiter([x for _, x in lines])
    )
    return [(i, _split_cells(line, delimiter)) for i, line in lines], delimiter


def _guess_delimiter(lines: Sequence[str]) -> str:
    """Find the separator that most lines have three of; else they are spaces."""
    counts = {
        name: sum(line.count(sign) >= 2 for line in lines)
        for name, sign in DELIMITERS.items()
        if name != "space"
    }
    name = max(counts, key=lambda each: counts[each])
    return name if counts[name] * 2 > len(lines) else "space"


def _split_cells(line: str, delimiter: str) -> tuple[str, ...]:
    """Split a line; the description keeps the separators it has in it."""
    if delimiter == "space":
        return tuple(line.strip().split(maxsplit=4))
    sign = DELIMITERS[delimiter]
    try:
        cells = next(csv.reader([line], delimiter=sign))
    except (csv.Error, StopIteration):
        cells = line.split(sign)
    head, rest = cells[:4], cells[4:]
    return tuple(each.strip() for each in [*head, *([sign.join(rest)] if rest else [])])


def _parse_point(
    line: int, cells: Sequence[str], columns: Sequence[str], unit: Fraction
) -> SurveyPoint | DocumentIssue:
    """Read a line into a point, or say why it is none."""
    if len(cells) < 3:
        return file_issue(
            f"line {line}", "This is no point: it has fewer than 3 columns."
        )
    values: dict[str, float] = {}
    for column, text in zip(columns[1:], cells[1:3], strict=True):
        number = _parse_number(text)
        if number is None:
            msg = f"“{text[:MAX_NAME_LENGTH]}” is no number, so this is no point."
            if _parse_number(text.replace(",", ".")) is not None:
                msg += " Write decimals with a point."
            return file_issue(f"line {line}, {column}", msg)
        values[column] = float(Fraction(number) * unit)
    name = cells[0][:MAX_NAME_LENGTH]
    if not name:
        return file_issue(f"line {line}, point", "This point has no name.")
    height = _parse_number(cells[3]) if len(cells) > 3 else None
    if len(cells) == 4 and height is None:  # no elevation, but a description
        description = cells[3]
    else:
        description = cells[4] if len(cells) > 4 else ""
    return SurveyPoint(
        name=name,
        northing=values["northing"],
        easting=values["easting"],
        elevation=None if height is None else float(Fraction(height) * unit),
        description=" ".join(description.split())[:MAX_DESCRIPTION_LENGTH],
        line=line,
    )


def _parse_number(text: str) -> Decimal | None:
    if not re.fullmatch(r"[-+]?[0-9]{0,12}(\.[0-9]{0,12})?", text.strip()):
        return None
    try:
        number = Decimal(text.strip())
    except InvalidOperation:
        return None
    return number if abs(number) <= MAX_COORDINATE else None


def _count_decimals(text: str) -> int:
    return min(len(text.strip().partition(".")[2]), MAX_DECIMALS)


def _find_repeated_names(points: Sequence[SurveyPoint]) -> list[DocumentIssue]:
    counts = Counter(point.name for point in points)
    return [
        file_issue(f"line {point.line}, point", f"The name {point.name} appears twice.")
        for point in points
        if counts[point.name] > 1
    ]
