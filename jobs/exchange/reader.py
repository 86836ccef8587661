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

from core.units import Length, LengthUnit, UnitError, kind_of, parse_length
from jobs.exchange.vocabulary import LONGEST_NAME

T = TypeVar("T")
Word = TypeVar("Word", bound=str)

_NOT_IN_NAMES = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]")
_NOT_IN_NOTES = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff]")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_TIME = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt][0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]{1,6})?)?"
    r"(?P<zone>[Zz]|[-+][0-9]{2}:[0-5][0-9])?"
)
_RATIO = re.compile(r"([0-9]{1,6}) ?/ ?([0-9]{1,6})|([0-9]{0,6}\.?[0-9]{1,9})")

NO_LENGTH = Length("", parse_length(0, "mm").mm, parse_length(0, "mm").resolution_mm)


@dataclass(frozen=True, slots=True)
class Refusal:
    """One thing that does not fit: where it stands, and what would have been right."""

    pointer: str
    message: str


class DocumentError(ValueError):
    """A document that was refused, with every reason."""

    def __init__(self, errors: Iterable[Refusal]) -> None:
        self.errors = tuple(errors)
        super().__init__(
            "; ".join(f"{each.pointer or '/'}: {each.message}" for each in self.errors)
        )


def step_into(pointer: str, step: str | int) -> str:
    """Extend a JSON Pointer by a member's name or an index (RFC 6901, section 4)."""
    name = str(step)
    if "~" in name or "/" in name:
        name = name.replace("~", "~0").replace("/", "~1")
    return f"{pointer}/{name}"


def _printable(text: str) -> str:
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


@dataclass(slots=True)
class Refusals:
    """What has been refused so far, and the unit bare numbers are in."""

    errors: list[Refusal] = field(default_factory=list)
    length_unit: LengthUnit | None = None
    unread: int = 0  # numbers whose unit is missing, which is refused but once

    @property
    def count(self) -> int:
        """How many values were not read; it grows with every stand-in."""
        return len(self.errors) + self.unread

    def add(self, pointer: str, message: str) -> None:
        # A lone surrogate can be written in JSON but not in UTF-8.
        self.errors.append(Refusal(_printable(pointer), _printable(message)))

    def settle(self) -> None:
        """Raise if anything was refused, in the order of the document's reading."""
        if self.errors:
            raise DocumentError(self.errors)


@dataclass(slots=True)
class Cursor:
    """One value of the document and where it stands.

    There are thousands of them in a document, and a frozen one takes thrice as long
    to make; nothing changes one.
    """

    value: Any
    pointer: str
    refusals: Refusals

    def refuse(self, message: str) -> None:
        self.refusals.add(self.pointer, message)

    # ---- containers ---------------------------------------------------------

    def members(
        self, required: Sequence[str], optional: Sequence[str] = ()
    ) -> dict[str, "Cursor"]:
        """Read an object with known members; unknown and missing ones are refused."""
        if not isinstance(self.value, dict):
            self.refuse(f"This has to be an object, not {kind_of(self.value)}.")
            return {}
        known = (*required, *optional)
        for name in self.value:
            if name not in known:
                self.at(str(name)).refuse(
                    f"There is no member “{str(name)[:LONGEST_NAME]}” here; the "
                    f"members are {', '.join(known)}."
                )
        for name in required:
            if name not in self.value:
                self.refuse(f"The member “{name}” is missing.")
        return {name: self.at(name) for name in known if name in self.value}

    def named(self, what: str) -> Iterator[tuple[str, "Cursor"]]:
        """Read an object whose members' names are names of things."""
        if not isinstance(self.value, dict):
            self.refuse(
                f"This has to be an object of {what}s by name, not "
                f"{kind_of(self.value)}."
            )
            return
        taken: set[str] = set()
        for key in self.value:
            child = self.at(str(key))
            name = Cursor(key, child.pointer, self.refusals).name()
            if name in taken:
                child.refuse(f"The {what} “{name}” is there twice.")
            taken.add(name)
            yield name, child

    def items(self, least: int = 0, most: int | None = None) -> list["Cursor"]:
        """Read a list; too few or too many items are refused."""
        if not isinstance(self.value, list):
            self.refuse(f"This has to be a list, not {kind_of(self.value)}.")
            return []
        count = len(self.value)
        if count < least:
            self.refuse(f"At least {least} are needed here, not {count}.")
        if most is not None and count > most:
            self.refuse(f"At most {most} can stand here, not {count}.")
            return []
        return [self.at(index) for index in range(count)]

    def has(self, name: str) -> bool:
        """Whether this is an object with such a member."""
        return isinstance(self.value, dict) and name in self.value

    def at(self, step: str | int) -> "Cursor":
        """Step into a member or an item; a missing one reads as null."""
        try:
            child = self.value[step]
        except (KeyError, IndexError, TypeError):
            child = None
        return Cursor(child, step_into(self.pointer, step), self.refusals)

    # ---- words --------------------------------------------------------------

    def text(self, longest: int = LONGEST_NAME) -> str:
        """Read text of one line, without the spaces at its ends."""
        if not isinstance(self.value, str):
            self.refuse(f"This has to be text, not {kind_of(self.value)}.")
            return ""
        text = self.value.strip()
        if _NOT_IN_NAMES.search(text):
            self.refuse("This has characters that cannot be printed on one line.")
            return ""
        if len(self.value) > longest:
            self.refuse(f"This is longer than {longest} characters.")
            return ""
        return text

    def name(self, longest: int = LONGEST_NAME) -> str:
        """Read text that names something, so it cannot be empty."""
        before = len(self.refusals.errors)
        text = self.text(longest)
        if not text and len(self.refusals.errors) == before:
            self.refuse("A name cannot be empty.")
        return text

    def note(self, longest: int) -> str:
        """Read text that may run over several lines."""
        if not isinstance(self.value, str):
            self.refuse(f"This has to be text, not {kind_of(self.value)}.")
            return ""
        if len(self.value) > longest:
            self.refuse(f"A note has at most {longest} characters.")
        if _NOT_IN_NOTES.search(self.value):
            self.refuse("This note has characters that cannot be printed.")
        return self.value

    def word(self, words: Sequence[Word]) -> Word:
        """Read one of a few words."""
        for word in words:
            if self.value == word and isinstance(self.value, str):
                return word
        self.refuse(f"This has to be one of {', '.join(words)}{self._instead()}.")
        return words[0]

    def _instead(self) -> str:
        if isinstance(self.value, str):
            return f", not “{self.value[:LONGEST_NAME]}”"
        return f", not {kind_of(self.value)}"

    # ---- quantities ---------------------------------------------------------

    def flag(self) -> bool:
        if not isinstance(self.value, bool):
            self.refuse(f"This has to be true or false, not {kind_of(self.value)}.")
            return False
        return self.value

    def length(
        self, *, at_least: float | None = None, above: float | None = None
    ) -> Length:
        """Read a length; with `at_least` or `above`, refuse what is shorter [mm]."""
        try:
            length = parse_length(self.value, self.refusals.length_unit)
        except UnitError as error:
            if self._lacks_unit():
                self.refusals.unread += 1
                return NO_LENGTH  # the missing length_unit has been refused already
            self.refuse(str(error))
            return NO_LENGTH
        if above is not None and not float(length.mm) > above:
            self.refuse(f"This has to be greater than {_bound(above)}.")
        elif at_least is not None and float(length.mm) < at_least:
            self.refuse(f"This cannot be less than {_bound(at_least)}.")
        return length

    def _lacks_unit(self) -> bool:
        number = isinstance(self.value, int | float) and not isinstance(
            self.value, bool
        )
        return number and self.refusals.length_unit is None

    def mm(self, *, at_least: float | None = None, above: float | None = None) -> float:
        """Read a length as millimetres [mm]."""
        return float(self.length(at_least=at_least, above=above).mm)

    def quantity(
        self, parse: Callable[[object], float], *, above: float | None = None
    ) -> float:
        """Read a quantity with its unit, in the unit `parse` returns."""
        try:
            number = parse(self.value)
        except UnitError as error:
            self.refuse(str(error))
            return 0.0
        if above is not None and not number > above:
            self.refuse(f"This has to be greater than {_bound(above)}.")
        return number

    def plain(self, most: float) -> float:
        """Read a plain number above zero, such as a count of hours."""
        value = self.value
        known = isinstance(value, int | float) and not isinstance(value, bool)
        if known and 0 < value <= most:
            return float(value)
        instead = "" if known else f", not {kind_of(value)}"
        self.refuse(
            f"This has to be a plain number above 0 and at most {most:,.0f}{instead}."
        )
        return 1.0

    def ratio(self) -> float:
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
            self.refuse(
                "This has to be a plain number above 0 and at most 1, such as 0.002 "
                'or "1/500".'
            )
            return 1.0
        return number

    # ---- times --------------------------------------------------------------

    def date(self) -> date:
        if isinstance(self.value, str) and _DATE.fullmatch(self.value):
            try:
                return date.fromisoformat(self.value)
            except ValueError:
                pass
        self.refuse(f"This has to be a date, such as 2026-03-02{self._instead()}.")
        return date.min

    def time(self) -> datetime:
        """Read a moment, which needs its time zone (RFC 3339)."""
        example = "2026-03-09T14:05:00Z"
        if isinstance(self.value, str) and (found := _TIME.fullmatch(self.value)):
            if not found["zone"]:
                self.refuse(
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
        self.refuse(
            f"This has to be a date and time with its zone, such as {example}"
            f"{self._instead()}."
        )
        return datetime.min.replace(tzinfo=UTC)


def _bound(number: float) -> str:
    return "zero" if number == 0 else f"{number:g}"
