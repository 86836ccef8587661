"""An imported file as a building document, with the source location of every value.

Whatever its kind, a file becomes a document, which the one parser validates. Issues
are then reported by their location in the file: sheet and cell, line, or layer.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from jobs.anchor_plan.values import BuildingInput
from jobs.exchange.input.parser import parse_building
from jobs.exchange.issues import (
    DocumentError,
    DocumentIssue,
    IssueCode,
    join_pointer,
)

MISSING_VALUE_MESSAGE = "This is empty; a value is needed."


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportedFile:
    """The content of an imported file.

    Attributes
    ----------
    document : the building document it makes.
    source_locations : location in the file of a value, by JSON Pointer.
    issues : what keeps it from being a document.
    ignored : what was not recognised and is left out.
    assumptions : what the import decided by itself, to be confirmed by a person.
    """

    document: dict[str, Any]
    source_locations: Mapping[str, str] = field(default_factory=dict)
    issues: tuple[DocumentIssue, ...] = ()
    ignored: tuple[DocumentIssue, ...] = ()
    assumptions: tuple[DocumentIssue, ...] = ()

    def parse_building(self, *, now: datetime | None = None) -> BuildingInput:
        """Parse the document.

        Parameters
        ----------
        now : the present time, by which times to come are refused.

        Raises
        ------
        DocumentError
            With every issue of the file and of the document, by location in the file.
        """
        if self.issues and not self.document:
            raise DocumentError(self.issues)
        try:
            building = parse_building(self.document, now=now)
        except DocumentError as error:
            issues = [*self.issues, *self._locate_issues(error.issues)]
            raise DocumentError(issues) from None
        if self.issues:
            raise DocumentError(self.issues)
        return building

    def _locate_issues(self, issues: Iterable[DocumentIssue]) -> list[DocumentIssue]:
        """Locate issues, without those that only follow from an issue of the file."""
        reported = {issue.location for issue in self.issues}
        located = [locate_issue(issue, self.source_locations) for issue in issues]
        return [issue for issue in located if issue.location not in reported]


def find_location(pointer: str, locations: Mapping[str, str]) -> str:
    """Return the location of a pointer's value, or of the nearest thing around it."""
    at = pointer
    while at:
        if at in locations:
            return locations[at]
        at = at.rpartition("/")[0]
    return locations.get("", pointer)


def locate_issue(issue: DocumentIssue, locations: Mapping[str, str]) -> DocumentIssue:
    """Return an issue with its location in the file."""
    if issue.code is IssueCode.MISSING_FIELD:
        cell = locations.get(join_pointer(issue.pointer, issue.field))
        if cell is not None:
            return replace(issue, message=MISSING_VALUE_MESSAGE, location=cell)
    return replace(issue, location=find_location(issue.pointer, locations))
