"""Sheets of readings to entries, and entries to sheets."""

import io
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.exchange.issues import DocumentError, DocumentIssue
from jobs.exchange.tables.readings_export import build_blank_sheet, build_readings_table
from jobs.exchange.tables.readings_import import ImportedReadings, import_reading_sheets
from jobs.exchange.tables.table_files import read_sheets, write_tables

CHICAGO = ZoneInfo("America/Chicago")


def read(content: bytes | str, suffix: str = ".csv", **more: Any) -> ImportedReadings:
    raw = content.encode() if isinstance(content, str) else content
    return import_reading_sheets(read_sheets(raw, suffix), **{"unit": "ft", **more})


def workbook(*rows: Any, **formats: str) -> bytes:
    book = openpyxl.Workbook()
    assert book.active is not None
    for row in rows:
        book.active.append(row)
    for cell, form in formats.items():
        book.active[cell].number_format = form
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def test_a_number_alone_keeps_its_decimals_and_gets_the_plans_unit() -> None:
    found = read("check,value\nwall:A-B,66.00\nstrength:F1,3000\nwall:B-C,38 1/2\n")
    assert [each["value"] for each in found.entries] == ["66.00 ft", 3000, "38 1/2 ft"]


def test_a_heading_may_state_the_unit() -> None:
    found = read("Check,Value [mm],Temperature (°F)\nwall:A-B,20116.8,41.5\n")
    assert found.entries == [
        {"check": "wall:A-B", "value": "20116.8 mm", "temperature": "41.5 degF"}
    ]


def test_a_number_in_a_workbook_has_the_decimals_it_is_shown_with() -> None:
    rows = (["check", "value"], ["wall:A-B", 66], ["wall:B-C", 38.125])
    found = read(workbook(*rows, B2="0.00", B3="0.0"), ".xlsx")
    assert [e["value"] for e in found.entries] == ["66.00 ft", "38.125 ft"]


def test_a_check_may_be_named_by_kind_position_and_rod() -> None:
    found = read(
        "Kind,Position,Rod,Value,From\n"
        'setback,S1,2,7",\n'
        "line,S1,,2',B\n"
        'Notch width,A-B,,1 1/2",\n'
        'gage,S1,1-2,5",\n'
        "Bay,S1-S2,,31',\n"
        "span,S1-N3,,38',\n"
    )
    assert [each["check"] for each in found.entries] == [
        "setback:S1.2",
        "line:S1",
        "notch_width:A-B",
        "gage:S1.1-2",
        "bay:S1-S2",
        "span:S1-N3",
    ]
    assert found.entries[1]["from"] == "B"


def test_times_without_a_zone_get_the_one_that_was_chosen() -> None:
    content = workbook(
        ["check", "value", "at"],
        ["wall:A-B", "66 ft", datetime(2026, 5, 4, 8, 15)],  # noqa: DTZ001
        ["wall:A-B", "66 ft", "2026-12-04 08:15"],
        ["wall:A-B", "66 ft", "2026-05-04T08:15:00Z"],
    )
    found = read(content, ".xlsx", zone=CHICAGO)
    assert [each["at"] for each in found.entries] == [
        "2026-05-04T08:15:00-05:00",
        "2026-12-04T08:15:00-06:00",
        "2026-05-04T08:15:00Z",
    ]


def test_a_sheet_filled_in_by_hand_is_read() -> None:
    """Values above the table apply to all readings; a second reading is a repeat."""
    found = read(
        "Measured by,crew 4\nDate,2026-05-04\nTape,T1\nLevel,L1\nTemperature,41 degF\n"
        "Set-up,2\n\n"
        "What,Key,Reading,Again,Note\n"
        "Wall A-B,wall:A-B,66',66' 1/16\",windy\n"
        "Wall B-C,wall:B-C,,,\n"
        "Level S1,level:S1,4.21,,\n"
        "Cylinder,strength:F1,3000 psi,,\n",
        zone=CHICAGO,
    )
    shared = {"by": "crew 4", "at": "2026-05-04T12:00:00-05:00"}
    taped = {"instrument": "T1", "temperature": "41 degF"}
    note = {"note": "windy"}
    assert found.entries == [
        {"check": "wall:A-B", "value": "66'", **shared, **taped, **note},
        {"check": "wall:A-B", "value": "66' 1/16\"", **shared, **taped, **note},
        {"check": "level:S1", "value": "4.21 ft", **shared, "instrument": "L1"}
        | {"setup": "2"},
        {"check": "strength:F1", "value": "3000 psi", **shared},
    ]
    told = {each.where: each.message for each in found.ignored}
    assert told["line 2, Taken at"] == (
        "Only the day is given: noon is used as the time."
    )
    assert told["the file"] == "No value in line 10."


def test_the_sheet_to_fill_reads_back_once_it_is_filled() -> None:
    table = build_blank_sheet([("Wall A-B", "wall:A-B"), ("Level S1", "level:S1")])
    book = openpyxl.load_workbook(io.BytesIO(write_tables([table], ".xlsx")))
    sheet: Any = book.active
    assert sheet["A7"].value == "What"
    sheet["B1"], sheet["B2"] = "crew 2", "2026-05-04 09:30"
    sheet["C8"] = "66' 1/4\""
    out = io.BytesIO()
    book.save(out)
    found = read(out.getvalue(), ".xlsx")
    assert found.entries == [
        {
            "check": "wall:A-B",
            "value": "66' 1/4\"",
            "by": "crew 2",
            "at": "2026-05-04T09:30:00Z",
        }
    ]
    assert [each.message for each in found.ignored] == ["No value in row 9."]


def test_what_is_refused_is_told_by_its_cell() -> None:
    content = workbook(
        ["Measured by", "crew"],
        ["Tape", "T9"],
        ["Kind", "Position", "Value"],
        ["wall", "A-Z", "66 ft"],
        ["wall", "A-B", datetime(2026, 3, 4)],  # noqa: DTZ001
    )
    found = read(content, ".xlsx")
    assert found.entries[1] == {
        "check": "wall:A-B",
        "value": None,
        "by": "crew",
        "instrument": "T9",
    }
    refused = [
        DocumentIssue("/readings/0/check", "No such wall."),
        DocumentIssue("/readings/0/instrument", "No such tape."),
        DocumentIssue("/readings/1/instrument", "No such tape."),
        DocumentIssue("/readings/1/value", "A length is a number."),
    ]
    told = {each.where: each.message for each in found.locate_issues(refused)}
    assert told["Sheet B4"] == "No such wall."
    assert told["Sheet B2"] == "No such tape."
    assert "3/4 or 3-4 was typed" in told["Sheet C5"]
    assert len(told) == 3


@pytest.mark.parametrize(
    ("content", "place", "says"),
    [
        ("check,size\nwall:A-B,66 ft\n", "line 1, column 2", "Unknown column “size”"),
        ("check,at\nwall:A-B,\n", "line 1", "column “value” is missing"),
        ("check,value,value\n", "line 1, column 3", "appears more than once"),
        ("value,at\n1,2\n", "line 1", "column “check” is missing"),
        ("Dear Sirs,\nwe measured\n", "line 1", "One row has the headings"),
        ("", "", "This file is empty"),
    ],
)
def test_headings_that_do_not_do_are_refused(
    content: str, place: str, says: str
) -> None:
    with pytest.raises(DocumentError) as error:
        read(content)
    told = {each.where: each.message for each in error.value.issues}
    assert says in told[place], told


values = st.one_of(
    st.integers(1, 900),
    st.floats(0.01, 900, allow_subnormal=False),
    st.sampled_from(["66'", '-2 1/4"', "7125 mm", "=1+1", "+3 in", "'x", "@"]),
)
texts = st.text(
    st.characters(exclude_categories=["C"], include_characters="\r\n\t"),
    min_size=1,
    max_size=12,
).filter(str.strip)


@given(
    st.lists(
        st.fixed_dictionaries(
            {"check": texts.map(str.strip), "value": values},
            optional={"note": texts, "id": texts.map(str.strip)},
        ),
        min_size=1,
        max_size=5,
    ),
    st.sampled_from([".csv", ".xlsx"]),
)
@settings(max_examples=80, deadline=None)
def test_readings_written_as_a_table_read_back(
    entries: list[dict[str, Any]], suffix: str
) -> None:
    """A number alone comes back with the unit it is in, as it is meant."""
    table = build_readings_table(entries)
    found = read(write_tables([table], suffix, titled=False), suffix, unit="in")
    for entry, again in zip(entries, found.entries, strict=True):
        assert isinstance(again, dict)
        value, other = entry["value"], again.pop("value")
        assert again == {name: entry[name] for name in entry if name != "value"}
        if isinstance(value, str):
            assert other == value
        elif not entry["check"].startswith("strength:"):
            assert float(other.removesuffix(" in")) == pytest.approx(value, rel=1e-14)


@pytest.mark.parametrize("start", "=+-@\t\r")
def test_no_text_goes_out_as_a_formula(start: str) -> None:
    entry = {"check": "wall:A-B", "value": "66'", "note": f"{start}1+1"}
    text = write_tables([build_readings_table([entry])], ".csv").decode()
    assert f"'{start}1+1" in text
    content = write_tables([build_readings_table([entry])], ".xlsx")
    book = openpyxl.load_workbook(io.BytesIO(content))
    assert {c.data_type for row in book["Readings"].rows for c in row} <= {"s", "n"}
    found = read(text.encode(), ".csv")
    assert found.entries == [entry]
