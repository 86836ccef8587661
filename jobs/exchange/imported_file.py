"""A file turned into an exchange document, and where in the file each value stands.

Whatever its kind, a file becomes a document; the one parser judges that, and what it
refuses is told by its place in the file.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from jobs.anchor_plan.values import BuildingInput
from jobs.exchange.input.json_reader import DocumentError, DocumentIssue
from jobs.exchange.input.parser import parse_building

MISSING = re.compile(r"The member “(.+)” is missing\.")
MISSING_VALUE_MESSAGE = "Nothing is written here, and it is needed."


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportedFile:
    """What was understood of a file.

    Attributes
    ----------
    document : the exchange document it amounts to.
    places : where in the file the value of a JSON Pointer stands.
    faults : what keeps it from being a document, by its place in the file.
    left : what was not understood and is left out, by its place in the file.
    """

    document: dict[str, Any]
    source_locations: Mapping[str, str] = field(default_factory=dict)
    issues: tuple[DocumentIssue, ...] = ()
    ignored: tuple[DocumentIssue, ...] = ()

    def parse_building(self) -> BuildingInput:
        """Read the document.

        Raises
        ------
        DocumentError
            With every fault of the file and of the document, by its place in the
            file.
        """
        if self.issues and not self.document:
            raise DocumentError(self.issues)
        try:
            building = parse_building(self.document)
        except DocumentError as error:
            faults = [*self.issues, *self._locate_issues(error.issues)]
            raise DocumentError(faults) from None
        if self.issues:
            raise DocumentError(self.issues)
        return building

    def _locate_issues(self, errors: Iterable[DocumentIssue]) -> list[DocumentIssue]:
        """Tell errors by their places; one that only follows from a fault is not."""
        told = {fault.pointer for fault in self.issues}
        found = [at_source_location(error, self.source_locations) for error in errors]
        return [error for error in found if error.pointer not in told]


def source_location(pointer: str, places: Mapping[str, str]) -> str:
    """Say where a pointer's value stands: itself, or the nearest thing around it."""
    at = pointer
    while at:
        if at in places:
            return places[at]
        at = at.rpartition("/")[0]
    return places.get("", pointer)


def at_source_location(
    error: DocumentIssue, places: Mapping[str, str]
) -> DocumentIssue:
    """Tell an error by its place in the file."""
    missing = MISSING.fullmatch(error.message)
    if missing is None:
        return DocumentIssue(source_location(error.pointer, places), error.message)
    cell = places.get(f"{error.pointer}/{missing[1]}")
    if cell is None:
        return DocumentIssue(source_location(error.pointer, places), error.message)
    return DocumentIssue(cell, MISSING_VALUE_MESSAGE)
