"""Typed reading of a JSON value, with its place in the document and its issues.

Reading never stops at the first issue. Where a value is refused, its method returns a
placeholder of the right type, so that the rest can be read; the caller raises
`DocumentError` at the end, before a placeholder can get out.
"""

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import UTC, date, datetime
from fractions import Fraction
from functools import lru_cache
from typing import Any, TypeVar

from core.units import Length, UnitError, name_json_type, parse_length
from jobs.exchange.input.plausibility import explain_time
from jobs.exchange.issues import IssueCode, IssueCollector, join_pointer
from jobs.exchange.vocabulary import MAX_NAME_LENGTH

Choice = TypeVar("Choice", bound=str)

_NOT_IN_NAMES = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]")
_NOT_IN_NOTES = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff]")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_TIME = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt][0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]{1,6})?)?"
    r"(?P<zone>[Zz]|[-+][0-9]{2}:[0-5][0-9])?"
)
_RATIO = re.compile(r"([0-9]{1,6}) ?/ ?([0-9]{1,6})|([0-9]{0,6}\.?[0-9]{1,9})")

_ZERO = parse_length(0, "mm")
NO_NAMES: Mapping[str, int] = {}
PLACEHOLDER_LENGTH = Length("", _ZERO.mm, _ZERO.resolution_mm)


class JsonReader:
    """One value of a document.

    A document has thousands of them, so the pointer is only written when an issue
    needs it.
    """

    __slots__ = ("_parent", "_step", "collector", "value")

    def __init__(
        self,
        value: Any,
        collector: IssueCollector,
        parent: "JsonReader | None" = None,
        step: str | int = "",
    ) -> None:
        """Place a reader at a value.

        Parameters
        ----------
        value : parsed JSON.
        collector : where issues go.
        parent : reader of the object or list the value is in; None at the top.
        step : its name or index there; at the top, the pointer to start from.
        """
        self.value = value
        self.collector = collector
        self._parent = parent
        self._step = step

    @property
    def pointer(self) -> str:
        """JSON Pointer to the value."""
        if self._parent is None:
            return str(self._step)
        return join_pointer(self._parent.pointer, self._step)

    def add_issue(
        self,
        message: str,
        code: IssueCode = IssueCode.INVALID_VALUE,
        field: str = "",
    ) -> None:
        """Add an issue at this value."""
        self.collector.add(self.pointer, message, code, field)

    # ---- containers ---------------------------------------------------------

    def read_object(
        self,
        known: Mapping[str, Callable[["JsonReader"], Any]],
        required: Sequence[str] = (),
        names: Mapping[str, int] = NO_NAMES,
    ) -> dict[str, Any]:
        """Read an object with known members.

        Parameters
        ----------
        known : mapping
            How each member is read, by its name; all others are issues.
        required : sequence of str
            Members whose absence is an issue.
        names : mapping
            The longest text of those of the `known` members that are names.

        Returns
        -------
        dict
            What was read of the members that are there.
        """
        # Without the object there is no point in reporting its missing members.
        if not isinstance(self.value, dict):
            self._add_type_issue("an object")
            return {}
        read: dict[str, Any] = {}
        for name, value in self.value.items():
            # Most members of most documents are names without a fault.
            longest = names.get(name)
            if longest is not None and type(value) is str and len(value) <= longest:
                text = _strip_name(value)
                if text:
                    read[name] = text
                    continue
            child = JsonReader(value, self.collector, self, name)
            read_member = known.get(name)
            # Members are read in the order of the document, so that issues follow it.
            if read_member is not None:
                read[name] = read_member(child)
            else:
                child.add_issue(
                    f"Unknown field “{str(name)[:MAX_NAME_LENGTH]}”; the fields here "
                    f"are {', '.join(known)}.",
                    IssueCode.UNKNOWN_FIELD,
                )
        for name in required:
            if name not in read:
                message = f"The field “{name}” is missing."
                self.add_issue(message, IssueCode.MISSING_FIELD, name)
        return read

    def read_mapping(self, what: str) -> Iterator[tuple[str, "JsonReader"]]:
        """Read an object whose members are named by whoever writes the document."""
        if not isinstance(self.value, dict):
            self._add_type_issue(f"an object of {what}s by name")
            return
        taken: set[str] = set()
        for key, value in self.value.items():
            child = JsonReader(value, self.collector, self, str(key))
            # A key is a name like any other: stripped, printable, not too long.
            name = JsonReader(key, self.collector, self, str(key)).read_name()
            if name in taken:
                child.add_issue(
                    f"The {what} “{name}” appears twice.", IssueCode.DUPLICATE
                )
            taken.add(name)
            yield name, child

    def read_list(
        self, min_items: int = 0, max_items: int | None = None
    ) -> list["JsonReader"]:
        """Read a list; too few or too many items are an issue."""
        if not isinstance(self.value, list):
            self._add_type_issue("a list")
            return []
        count = len(self.value)
        if count < min_items:
            self.add_issue(f"At least {min_items} items are needed, not {count}.")
        # None of the items is read: the limits keep a hostile document from costing
        # time.
        if max_items is not None and count > max_items:
            self.add_issue(f"At most {max_items} items are allowed, not {count}.")
            return []
        return [
            JsonReader(value, self.collector, self, index)
            for index, value in enumerate(self.value)
        ]

    def has_member(self, name: str) -> bool:
        """Return True if this is an object with such a member."""
        return isinstance(self.value, dict) and name in self.value

    def child(self, step: str | int) -> "JsonReader":
        """Step into a member or an item; a missing one reads as null."""
        try:
            value = self.value[step]
        except (KeyError, IndexError, TypeError):
            value = None
        return JsonReader(value, self.collector, self, step)

    # ---- texts --------------------------------------------------------------

    def read_text(self, max_length: int = MAX_NAME_LENGTH) -> str:
        """Read text of one line, stripped."""
        value = self.value
        if not isinstance(value, str):
            self._add_type_issue("text")
            return ""
        # Names are compared after stripping, or " S1" and "S1" would be two positions.
        text = value.strip()
        if _NOT_IN_NAMES.search(text):
            self.add_issue("This has characters that cannot be printed on one line.")
            return ""
        if len(value) > max_length:
            self.add_issue(f"This is longer than {max_length} characters.")
            return ""
        return text

    def read_name(self, max_length: int = MAX_NAME_LENGTH) -> str:
        """Read text of one line that is not empty."""
        before = len(self.collector.issues)
        text = self.read_text(max_length)
        if not text and len(self.collector.issues) == before:
            self.add_issue("A name cannot be empty.")
        return text

    def read_note(self, max_length: int) -> str:
        """Read text of several lines."""
        if not isinstance(self.value, str):
            self._add_type_issue("text")
            return ""
        # A note is kept as typed, blank lines included: it is part of the record.
        if len(self.value) > max_length:
            self.add_issue(f"A note has at most {max_length} characters.")
        if _NOT_IN_NOTES.search(self.value):
            self.add_issue("This note has characters that cannot be printed.")
        return self.value

    def read_choice(self, choices: Sequence[Choice]) -> Choice:
        """Read one of a few words."""
        if isinstance(self.value, str):
            for choice in choices:
                if self.value == choice:
                    return choice
        self.add_issue(
            f"This must be one of {', '.join(choices)}, not {self._describe_value()}."
        )
        return choices[0]

    # ---- quantities ---------------------------------------------------------

    def read_bool(self) -> bool:
        """Read true or false."""
        if not isinstance(self.value, bool):
            self._add_type_issue("true or false")
            return False
        return self.value

    def read_length(
        self, *, at_least: float | None = None, above: float | None = None
    ) -> Length:
        """Read a length; less than `at_least`, or not `above`, is an issue [mm]."""
        try:
            length = parse_length(self.value, self.collector.length_unit)
        except UnitError as error:
            if self.collector.length_unit is None and self._is_number():
                # The missing or wrong length_unit is an issue already.
                self.collector.unitless_count += 1
                return PLACEHOLDER_LENGTH
            self.add_issue(str(error))
            return PLACEHOLDER_LENGTH
        # `not >` instead of `<=`, so that NaN fails as well.
        if above is not None and not float(length.mm) > above:
            self.add_issue(f"This must be greater than {_format_bound(above)}.")
        elif at_least is not None and float(length.mm) < at_least:
            self.add_issue(f"This cannot be less than {_format_bound(at_least)}.")
        return length

    def read_mm(
        self, *, at_least: float | None = None, above: float | None = None
    ) -> float:
        """Read a length as millimetres [mm]."""
        return float(self.read_length(at_least=at_least, above=above).mm)

    def read_quantity(
        self,
        parse: Callable[[object], float],
        *,
        above: float | None = None,
        at_most: tuple[float, str] | None = None,
    ) -> float:
        """Read a quantity with its unit, in the unit `parse` returns.

        `at_most` is a bound in that unit and the text that states it.
        """
        try:
            number = parse(self.value)
        except UnitError as error:
            self.add_issue(str(error))
            return 0.0
        if above is not None and not number > above:
            self.add_issue(f"This must be greater than {_format_bound(above)}.")
        elif at_most is not None and number > at_most[0]:
            self.add_issue(f"This must be at most {at_most[1]}.")
        return number

    def read_positive_number(self, maximum: float) -> float:
        """Read a plain number above zero, such as a count of hours."""
        if self._is_number() and 0 < self.value <= maximum:
            return float(self.value)
        instead = "" if self._is_number() else f", not {name_json_type(self.value)}"
        self.add_issue(
            f"This must be a plain number above 0 and at most {maximum:,.0f}{instead}."
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
        elif self._is_number():
            number = float(value) if abs(value) <= 1 else math.nan
        if not 0 < number <= 1:
            self.add_issue(
                "This must be a plain number above 0 and at most 1, such as 0.002 or "
                '"1/500".'
            )
            return 1.0
        return number

    # ---- dates and times ----------------------------------------------------

    def read_date(self) -> date:
        """Read a date."""
        # `fromisoformat` alone accepts other forms, such as 20260302 and 2026-W10-1.
        if isinstance(self.value, str) and _DATE.fullmatch(self.value):
            try:
                return date.fromisoformat(self.value)
            except ValueError:
                pass
        self.add_issue(
            f"This must be a date such as 2026-03-02, not {self._describe_value()}."
        )
        return date.min

    def read_time(self) -> datetime:
        """Read a date and time, which needs its time zone (RFC 3339)."""
        example = "2026-03-09T14:05:00Z"
        if isinstance(self.value, str) and (found := _TIME.fullmatch(self.value)):
            if not found["zone"]:
                self.add_issue(
                    f"This time has no time zone; write {example}, or +02:00 at its "
                    "end."
                )
                return datetime.min.replace(tzinfo=UTC)
            try:
                moment = datetime.fromisoformat(self.value.upper())
                # Near the year 1 or 9999 a time may have no UTC, which the database
                # needs.
                if not 1 < moment.year < 9999:
                    moment.astimezone(UTC)
            except (ValueError, OverflowError):
                pass
            else:
                self._report_impossible_time(moment)
                return moment
        self.add_issue(
            f"This must be a date and time with its time zone, such as {example}, not "
            f"{self._describe_value()}."
        )
        return datetime.min.replace(tzinfo=UTC)

    # ---- helpers ------------------------------------------------------------

    def _report_impossible_time(self, moment: datetime) -> None:
        now = self.collector.now
        if now is not None and (reason := explain_time(moment, now)):
            self.add_issue(reason)

    def _is_number(self) -> bool:
        value = self.value
        # In Python, True is the integer 1.
        return isinstance(value, int | float) and not isinstance(value, bool)

    def _add_type_issue(self, expected: str) -> None:
        message = f"This must be {expected}, not {name_json_type(self.value)}."
        self.add_issue(message, IssueCode.WRONG_TYPE)

    def _describe_value(self) -> str:
        if isinstance(self.value, str):
            return f"“{self.value[:MAX_NAME_LENGTH]}”"
        return name_json_type(self.value)


@lru_cache(maxsize=8192)
def _strip_name(text: str) -> str | None:
    """Strip a text of one line, cached: readings repeat the same names.

    None where it has characters that a name cannot have. The caller limits its length.
    """
    stripped = text.strip()
    return None if _NOT_IN_NAMES.search(stripped) else stripped


def _format_bound(number: float) -> str:
    return "zero" if number == 0 else f"{number:g}"
