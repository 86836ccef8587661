"""A file turned into an exchange document, and where in the file each value stands.

Whatever its kind, a file becomes a document; the one parser judges that, and what it
refuses is told by its place in the file.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from jobs.exchange.parse import read_building
from jobs.exchange.reader import DocumentError, Refusal
from jobs.plan.model import Building

MISSING = re.compile(r"The member “(.+)” is missing\.")
NEEDED = "Nothing is written here, and it is needed."


@dataclass(frozen=True, slots=True, kw_only=True)
class FromFile:
    """What was understood of a file.

    Attributes
    ----------
    document : the exchange document it amounts to.
    places : where in the file the value of a JSON Pointer stands.
    faults : what keeps it from being a document, by its place in the file.
    left : what was not understood and is left out, by its place in the file.
    """

    document: dict[str, Any]
    places: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Refusal, ...] = ()
    left: tuple[Refusal, ...] = ()

    def building(self) -> Building:
        """Read the document.

        Raises
        ------
        DocumentError
            With every fault of the file and of the document, by its place in the
            file.
        """
        if self.faults and not self.document:
            raise DocumentError(self.faults)
        try:
            building = read_building(self.document)
        except DocumentError as error:
            faults = [*self.faults, *self._placed(error.errors)]
            raise DocumentError(faults) from None
        if self.faults:
            raise DocumentError(self.faults)
        return building

    def _placed(self, errors: Iterable[Refusal]) -> list[Refusal]:
        """Tell errors by their places; one that only follows from a fault is not."""
        told = {fault.pointer for fault in self.faults}
        found = [placed(error, self.places) for error in errors]
        return [error for error in found if error.pointer not in told]


def place_of(pointer: str, places: Mapping[str, str]) -> str:
    """Say where a pointer's value stands: itself, or the nearest thing around it."""
    at = pointer
    while at:
        if at in places:
            return places[at]
        at = at.rpartition("/")[0]
    return places.get("", pointer)


def placed(error: Refusal, places: Mapping[str, str]) -> Refusal:
    """Tell an error by its place in the file."""
    missing = MISSING.fullmatch(error.message)
    if missing is None:
        return Refusal(place_of(error.pointer, places), error.message)
    cell = places.get(f"{error.pointer}/{missing[1]}")
    if cell is None:
        return Refusal(place_of(error.pointer, places), error.message)
    return Refusal(cell, NEEDED)
