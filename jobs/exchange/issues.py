"""Issues of a document or a file, collected and raised together."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from core.units import LengthUnit


class IssueCode(StrEnum):
    """The kind of an issue; programs decide by it, never by the message."""

    INVALID_VALUE = "invalid_value"
    WRONG_TYPE = "wrong_type"
    MISSING_FIELD = "missing_field"
    UNKNOWN_FIELD = "unknown_field"
    UNKNOWN_NAME = "unknown_name"  # of a wall, detail, instrument, check …
    DUPLICATE = "duplicate"
    CONFLICT = "conflict"  # with another field
    UNREADABLE = "unreadable"  # the text or file as a whole
    IGNORED = "ignored"  # left out of an import, which goes on without it
    ASSUMED = "assumed"  # decided by an import itself, such as a missing mark


@dataclass(frozen=True, slots=True)
class DocumentIssue:
    """One issue: where it is, and how to fix it.

    Attributes
    ----------
    pointer : JSON Pointer (RFC 6901) to the value; empty for the whole document.
    message : what is wrong and what would be right.
    code : its kind.
    field : name of the missing field, where the code is `MISSING_FIELD`.
    location : where the value is in the file it came from, such as `Rods C7` or `line
        4`.
    """

    pointer: str
    message: str
    code: IssueCode = IssueCode.INVALID_VALUE
    field: str = ""
    location: str = ""

    @property
    def where(self) -> str:
        """Where a person finds it: in the imported file, else in the document."""
        return self.location or self.pointer


class DocumentError(ValueError):
    """A document or file that was refused, with every issue."""

    def __init__(self, issues: Iterable[DocumentIssue]) -> None:
        self.issues = tuple(issues)
        super().__init__(
            "; ".join(f"{each.where or '/'}: {each.message}" for each in self.issues)
        )


def file_issue(
    location: str, message: str, code: IssueCode = IssueCode.INVALID_VALUE
) -> DocumentIssue:
    """Return an issue of a file that is known by its location in the file alone."""
    return DocumentIssue("", message, code, location=location)


def file_error(message: str, location: str = "") -> DocumentError:
    """Return the error of a file that cannot be read at all."""
    return DocumentError([file_issue(location, message, IssueCode.UNREADABLE)])


def join_pointer(pointer: str, step: str | int) -> str:
    """Extend a JSON Pointer by a member's name or an index (RFC 6901, section 4)."""
    name = str(step)
    if "~" in name or "/" in name:
        name = name.replace("~", "~0").replace("/", "~1")
    return f"{pointer}/{name}"


@dataclass(slots=True)
class IssueCollector:
    """The issues found so far, the unit of bare numbers, and the present time.

    `now` is None for values that are in the record already.
    """

    issues: list[DocumentIssue] = field(default_factory=list)
    length_unit: LengthUnit | None = None
    now: datetime | None = None
    unitless_count: int = 0  # numbers whose missing unit is one issue already

    @property
    def count(self) -> int:
        """Number of values replaced by a placeholder so far."""
        return len(self.issues) + self.unitless_count

    def add(
        self,
        pointer: str,
        message: str,
        code: IssueCode = IssueCode.INVALID_VALUE,
        field: str = "",
    ) -> None:
        """Add an issue."""
        # JSON can hold a lone surrogate, which UTF-8 cannot: the reply must be written.
        pointer, message = _escape_surrogates(pointer), _escape_surrogates(message)
        self.issues.append(DocumentIssue(pointer, message, code, field))

    def raise_if_any(self) -> None:
        """Raise `DocumentError` if there are issues, in the order they were found."""
        if self.issues:
            raise DocumentError(self.issues)


def _escape_surrogates(text: str) -> str:
    return text.encode("utf-8", "backslashreplace").decode("utf-8")
