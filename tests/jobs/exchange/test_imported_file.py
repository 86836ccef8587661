"""Issues of a document by their location in the file it was imported from."""

import pytest

from jobs.exchange.imported_file import ImportedFile, find_location, locate_issue
from jobs.exchange.issues import DocumentError, DocumentIssue, IssueCode, file_issue
from tests.jobs.exchange.example import example

LOCATIONS = {
    "": "the file",
    "/positions": "sheet Positions",
    "/positions/0": "Positions row 2",
    "/positions/0/mark": "Positions A2",
}


@pytest.mark.parametrize(
    ("pointer", "location"),
    [
        ("/positions/0/mark", "Positions A2"),
        ("/positions/0/wall", "Positions row 2"),
        ("/positions/7/wall", "sheet Positions"),
        ("/name", "the file"),
    ],
)
def test_a_value_without_a_location_has_that_of_what_is_around_it(
    pointer: str, location: str
) -> None:
    assert find_location(pointer, LOCATIONS) == location


def test_a_missing_field_is_found_by_its_code_at_its_empty_cell() -> None:
    issue = DocumentIssue(
        "/positions/0", "Whatever it says.", IssueCode.MISSING_FIELD, "mark"
    )
    located = locate_issue(issue, LOCATIONS)
    assert located.location == "Positions A2"
    assert located.message == "This is empty; a value is needed."
    assert located.pointer == "/positions/0"


def test_an_issue_keeps_its_pointer_beside_its_location() -> None:
    document = example()
    del document["readings"]
    document["positions"][0]["mark"] = ""
    imported = ImportedFile(document=document, source_locations=LOCATIONS)
    with pytest.raises(DocumentError) as error:
        imported.parse_building()
    (issue,) = error.value.issues
    assert (issue.pointer, issue.where) == ("/positions/0/mark", "Positions A2")


def test_what_only_follows_from_an_issue_of_the_file_is_not_reported() -> None:
    document = example()
    del document["readings"], document["positions"][0]["mark"]
    unreadable = file_issue("Positions A2", "This cell shows the error #REF!.")
    imported = ImportedFile(
        document=document, source_locations=LOCATIONS, issues=(unreadable,)
    )
    with pytest.raises(DocumentError) as error:
        imported.parse_building()
    assert error.value.issues == (unreadable,)
