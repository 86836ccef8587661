"""Import of a total station's point file: point, northing, easting, elevation, text."""

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
from jobs.exchange.text_decoding import decode_utf8
from jobs.exchange.vocabulary import MAX_NAME_LENGTH

PointUnit = Literal["ft", "survey_ft", "m", "mm"]
MM_PER_POINT_UNIT: dict[str, Fraction] = {
    "ft": MM_PER_UNIT["ft"],
    "survey_ft": MM_PER_SURVEY_FOOT,
    "m": MM_PER_UNIT["m"],
    "mm": MM_PER_UNIT["mm"],
}
"""Units of coordinates. [mm]"""

COLUMN_ORDERS: dict[str, tuple[str, ...]] = {
    "point northing easting elevation description": ("point", "northing", "easting"),
    "point easting northing elevation description": ("point", "easting", "northing"),
}
"""Orders of the columns, by their labels on the page."""

DELIMITERS = {"tab": "\t", "semicolon": ";", "comma": ",", "space": " "}
"""In the order they are tried: a description may contain commas and spaces."""

MAX_POINTS = 20_000
MAX_LISTED_LINES = 20
MAX_POINT_FILE_BYTES = 4_000_000  # bytes
MAX_DECIMALS = 6
MAX_DESCRIPTION_LENGTH = 120
MAX_POINT_COORDINATE = Decimal(10**10)


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyPoint:
    """A surveyed point. [mm]"""

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
    delimiter : a key of `DELIMITERS`, as chosen or guessed.
    lines : the first lines, split into cells.
    decimals, level_decimals : most decimals of northings and eastings, and of
        elevations.
    ignored : lines that are no points.
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
    content : of the file.
    unit : of all its coordinates.
    order : of the columns, a key of `COLUMN_ORDERS`; the first by default.
    delimiter : a key of `DELIMITERS`; guessed by default.

    Raises
    ------
    DocumentError
        If it is no text, too large, or has no points.
    """
    rows, delimiter = _split_rows(content, delimiter)
    columns = COLUMN_ORDERS.get(order) or next(iter(COLUMN_ORDERS.values()))
    points: list[SurveyPoint] = []
    ignored: list[DocumentIssue] = []
    texts: list[tuple[str, str, str]] = []
    for number, cells in rows:
        found = _parse_point(number, cells, columns, MM_PER_POINT_UNIT[unit])
        if isinstance(found, DocumentIssue):
            ignored.append(found)
        else:
            points.append(found)
            texts.append((cells[1], cells[2], cells[3] if len(cells) > 3 else ""))
    if not points:
        msg = (
            "No line of this file is a point: name, northing, easting, and usually "
            "elevation and description. Check the separator."
        )
        raise DocumentError([file_issue("", msg), *ignored[:MAX_LISTED_LINES]])
    ignored += _find_repeated_names(points)
    return PointFile(
        points=tuple(points),
        columns=columns,
        delimiter=delimiter,
        lines=tuple(cells for _, cells in rows[:6]),
        decimals=max(_count_decimals(text) for each in texts for text in each[:2]),
        level_decimals=max(_count_decimals(each[2]) for each in texts),
        ignored=tuple(ignored),
    )


def _split_rows(
    content: bytes, delimiter: str
) -> tuple[list[tuple[int, tuple[str, ...]]], str]:
    """Split a file into lines and cells."""
    if len(content) > MAX_POINT_FILE_BYTES:
        most = MAX_POINT_FILE_BYTES // 1_000_000
        raise file_error(f"A point file has at most {most} MB; send it in parts.")
    text = decode_utf8(content)
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
    """Guess the separator: one that most lines have at least twice, else spaces."""
    counts = {
        name: sum(line.count(sign) >= 2 for line in lines)
        for name, sign in DELIMITERS.items()
        if name != "space"
    }
    name = max(counts, key=lambda each: counts[each])
    return name if counts[name] * 2 > len(lines) else "space"


def _split_cells(line: str, delimiter: str) -> tuple[str, ...]:
    """Split a line; the description keeps its own separators."""
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
    """Parse a line as a point, or return why it is none."""
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
    # Exports leave out an empty elevation column.
    if len(cells) == 4 and height is None:  # a description without an elevation
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
    return number if abs(number) <= MAX_POINT_COORDINATE else None


def _count_decimals(text: str) -> int:
    return min(len(text.strip().partition(".")[2]), MAX_DECIMALS)


def _find_repeated_names(points: Sequence[SurveyPoint]) -> list[DocumentIssue]:
    counts = Counter(point.name for point in points)
    return [
        file_issue(f"line {point.line}, point", f"The name {point.name} appears twice.")
        for point in points
        if counts[point.name] > 1
    ]
