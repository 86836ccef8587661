"""A cursor over a JSON value that knows where it is and collects what is refused.

Reading never stops at the first error. Where a value is refused, its method returns
a stand-in of the right type, so that the rest can be read; whoever started the
reading raises `DocumentError` before any stand-in can get out.
"""

import math
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from fractions import Fraction
from typing import Any, TypeVar

from core.units import Length, LengthUnit, UnitError, name_json_type, parse_length
from jobs.exchange.vocabulary import MAX_NAME_LENGTH

T = TypeVar("T")
Choice = TypeVar("Choice", bound=str)

_NOT_IN_NAMES = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]")
_NOT_IN_NOTES = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff]")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_TIME = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt][0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]{1,6})?)?"
    r"(?P<zone>[Zz]|[-+][0-9]{2}:[0-5][0-9])?"
)
_RATIO = re.compile(r"([0-9]{1,6}) ?/ ?([0-9]{1,6})|([0-9]{0,6}\.?[0-9]{1,9})")

PLACEHOLDER_LENGTH = Length(
    "", parse_length(0, "mm").mm, parse_length(0, "mm").resolution_mm
)


@dataclass(frozen=True, slots=True)
class DocumentIssue:
    """One thing that does not fit: where it stands, and what would have been right."""

    pointer: str
    message: str


class DocumentError(ValueError):
    """A document that was refused, with every reason."""

    def __init__(self, errors: Iterable[DocumentIssue]) -> None:
        self.issues = tuple(errors)
        super().__init__(
            "; ".join(f"{each.pointer or '/'}: {each.message}" for each in self.issues)
        )


def join_pointer(pointer: str, step: str | int) -> str:
    """Extend a JSON Pointer by a member's name or an index (RFC 6901, section 4)."""
    name = str(step)
    if "~" in name or "/" in name:
        name = name.replace("~", "~0").replace("/", "~1")
    return f"{pointer}/{name}"


def _escape_surrogates(text: str) -> str:
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


@dataclass(slots=True)
class IssueCollector:
    """What has been refused so far, and the unit bare numbers are in."""

    issues: list[DocumentIssue] = field(default_factory=list)
    length_unit: LengthUnit | None = None
    unitless_count: int = 0  # numbers whose unit is missing, which is refused but once

    @property
    def count(self) -> int:
        """How many values were not read; it grows with every stand-in."""
        return len(self.issues) + self.unitless_count

    def add(self, pointer: str, message: str) -> None:
        # A lone surrogate can be written in JSON but not in UTF-8.
        self.issues.append(
            DocumentIssue(_escape_surrogates(pointer), _escape_surrogates(message))
        )

    def raise_if_any(self) -> None:
        """Raise if anything was refused, in the order of the document's reading."""
        if self.issues:
            raise DocumentError(self.issues)


@dataclass(slots=True)
class JsonReader:
    """One value of the document and where it stands.

    There are thousands of them in a document, and a frozen one takes thrice as long
    to make; nothing changes one.
    """

    value: Any
    pointer: str
    collector: IssueCollector

    def add_issue(self, message: str) -> None:
        self.collector.add(self.pointer, message)

    # ---- containers ---------------------------------------------------------

    def read_object(
        self, required: Sequence[str], optional: Sequence[str] = ()
    ) -> dict[str, "JsonReader"]:
        """Read an object with known members; unknown and missing ones are refused."""
        if not isinstance(self.value, dict):
            self.add_issue(
                f"This has to be an object, not {name_json_type(self.value)}."
            )
            return {}
        known = (*required, *optional)
        for name in self.value:
            if name not in known:
                self.child(str(name)).add_issue(
                    f"There is no member “{str(name)[:MAX_NAME_LENGTH]}” here; the "
                    f"members are {', '.join(known)}."
                )
        for name in required:
            if name not in self.value:
                self.add_issue(f"The member “{name}” is missing.")
        return {name: self.child(name) for name in known if name in self.value}

    def read_mapping(self, what: str) -> Iterator[tuple[str, "JsonReader"]]:
        """Read an object whose members' names are names of things."""
        if not isinstance(self.value, dict):
            self.add_issue(
                f"This has to be an object of {what}s by name, not "
                f"{name_json_type(self.value)}."
            )
            return
        taken: set[str] = set()
        for key in self.value:
            child = self.child(str(key))
            name = JsonReader(key, child.pointer, self.collector).read_name()
            if name in taken:
                child.add_issue(f"The {what} “{name}” is there twice.")
            taken.add(name)
            yield name, child

    def read_list(self, least: int = 0, most: int | None = None) -> list["JsonReader"]:
        """Read a list; too few or too many items are refused."""
        if not isinstance(self.value, list):
            self.add_issue(f"This has to be a list, not {name_json_type(self.value)}.")
            return []
        count = len(self.value)
        if count < least:
            self.add_issue(f"At least {least} are needed here, not {count}.")
        if most is not None and count > most:
            self.add_issue(f"At most {most} can stand here, not {count}.")
            return []
        return [self.child(index) for index in range(count)]

    def has_member(self, name: str) -> bool:
        """Whether this is an object with such a member."""
        return isinstance(self.value, dict) and name in self.value

    def child(self, step: str | int) -> "JsonReader":
        """Step into a member or an item; a missing one reads as null."""
        try:
            child = self.value[step]
        except (KeyError, IndexError, TypeError):
            child = None
        return JsonReader(child, join_pointer(self.pointer, step), self.collector)

    # ---- words --------------------------------------------------------------

    def read_text(self, longest: int = MAX_NAME_LENGTH) -> str:
        """Read text of one line, without the spaces at its ends."""
        if not isinstance(self.value, str):
            self.add_issue(f"This has to be text, not {name_json_type(self.value)}.")
            return ""
        text = self.value.strip()
        if _NOT_IN_NAMES.search(text):
            self.add_issue("This has characters that cannot be printed on one line.")
            return ""
        if len(self.value) > longest:
            self.add_issue(f"This is longer than {longest} characters.")
            return ""
        return text

    def read_name(self, longest: int = MAX_NAME_LENGTH) -> str:
        """Read text that names something, so it cannot be empty."""
        before = len(self.collector.issues)
        text = self.read_text(longest)
        if not text and len(self.collector.issues) == before:
            self.add_issue("A name cannot be empty.")
        return text

    def read_note(self, longest: int) -> str:
        """Read text that may run over several lines."""
        if not isinstance(self.value, str):
            self.add_issue(f"This has to be text, not {name_json_type(self.value)}.")
            return ""
        if len(self.value) > longest:
            self.add_issue(f"A note has at most {longest} characters.")
        if _NOT_IN_NOTES.search(self.value):
            self.add_issue("This note has characters that cannot be printed.")
        return self.value

    def read_choice(self, words: Sequence[Choice]) -> Choice:
        """Read one of a few words."""
        for word in words:
            if self.value == word and isinstance(self.value, str):
                return word
        self.add_issue(
            f"This has to be one of {', '.join(words)}{self._describe_value()}."
        )
        return words[0]

    def _describe_value(self) -> str:
        if isinstance(self.value, str):
            return f", not “{self.value[:MAX_NAME_LENGTH]}”"
        return f", not {name_json_type(self.value)}"

    # ---- quantities ---------------------------------------------------------

    def read_bool(self) -> bool:
        if not isinstance(self.value, bool):
            self.add_issue(
                f"This has to be true or false, not {name_json_type(self.value)}."
            )
            return False
        return self.value

    def read_length(
        self, *, at_least: float | None = None, above: float | None = None
    ) -> Length:
        """Read a length; with `at_least` or `above`, refuse what is shorter [mm]."""
        try:
            length = parse_length(self.value, self.collector.length_unit)
        except UnitError as error:
            if self._lacks_unit():
                self.collector.unitless_count += 1
                return PLACEHOLDER_LENGTH  # the missing length_unit has been refused already
            self.add_issue(str(error))
            return PLACEHOLDER_LENGTH
        if above is not None and not float(length.mm) > above:
            self.add_issue(f"This has to be greater than {_format_bound(above)}.")
        elif at_least is not None and float(length.mm) < at_least:
            self.add_issue(f"This cannot be less than {_format_bound(at_least)}.")
        return length

    def _lacks_unit(self) -> bool:
        number = isinstance(self.value, int | float) and not isinstance(
            self.value, bool
        )
        return number and self.collector.length_unit is None

    def read_mm(
        self, *, at_least: float | None = None, above: float | None = None
    ) -> float:
        """Read a length as millimetres [mm]."""
        return float(self.read_length(at_least=at_least, above=above).mm)

    def read_quantity(
        self, parse: Callable[[object], float], *, above: float | None = None
    ) -> float:
        """Read a quantity with its unit, in the unit `parse` returns."""
        try:
            number = parse(self.value)
        except UnitError as error:
            self.add_issue(str(error))
            return 0.0
        if above is not None and not number > above:
            self.add_issue(f"This has to be greater than {_format_bound(above)}.")
        return number

    def read_positive_number(self, most: float) -> float:
        """Read a plain number above zero, such as a count of hours."""
        value = self.value
        known = isinstance(value, int | float) and not isinstance(value, bool)
        if known and 0 < value <= most:
            return float(value)
        instead = "" if known else f", not {name_json_type(value)}"
        self.add_issue(
            f"This has to be a plain number above 0 and at most {most:,.0f}{instead}."
        )
        return 1.0

    def read_ratio(self) -> float:
        """Read a plain number above zero and at most one, such as 0.002 or "1/500"."""
        value = self.value
        number = math.nan
        if isinstance(value, str) and (found := _RATIO.fullmatch(value.strip())):
            over, under, decimal = found.groups()
            if decimal:
                number = float(decimal)
            elif int(under):
                number = float(Fraction(int(over), int(under)))
        elif isinstance(value, int | float) and not isinstance(value, bool):
            number = float(value) if abs(value) <= 1 else math.nan
        if not 0 < number <= 1:
            self.add_issue(
                "This has to be a plain number above 0 and at most 1, such as 0.002 "
                'or "1/500".'
            )
            return 1.0
        return number

    # ---- times --------------------------------------------------------------

    def read_date(self) -> date:
        if isinstance(self.value, str) and _DATE.fullmatch(self.value):
            try:
                return date.fromisoformat(self.value)
            except ValueError:
                pass
        self.add_issue(
            f"This has to be a date, such as 2026-03-02{self._describe_value()}."
        )
        return date.min

    def read_time(self) -> datetime:
        """Read a moment, which needs its time zone (RFC 3339)."""
        example = "2026-03-09T14:05:00Z"
        if isinstance(self.value, str) and (found := _TIME.fullmatch(self.value)):
            if not found["zone"]:
                self.add_issue(
                    f"This time has no zone; write {example}, or with +02:00 at "
                    f"its end."
                )
                return datetime.min.replace(tzinfo=UTC)
            try:
                moment = datetime.fromisoformat(self.value.upper())
                moment.astimezone(UTC)
            except (ValueError, OverflowError):
                pass
            else:
                return moment
        self.add_issue(
            f"This has to be a date and time with its zone, such as {example}"
            f"{self._describe_value()}."
        )
        return datetime.min.replace(tzinfo=UTC)


def _format_bound(number: float) -> str:
    return "zero" if number == 0 else f"{number:g}"
