"""Errors of plans in a workbook or CSV, with their place."""

import io
import zipfile
from datetime import datetime
from typing import Any

import openpyxl
import pytest

from jobs.exchange.issues import DocumentError
from jobs.exchange.tables import xlsx_io
from jobs.exchange.tables.example_building import build_example_document
from jobs.exchange.tables.table_files import read_plan_table, write_plan_table


def workbook(change: Any = None) -> bytes:
    """Return the template's workbook, changed by hand."""
    book = openpyxl.load_workbook(
        io.BytesIO(write_plan_table(build_example_document(), ".xlsx"))
    )
    if change:
        change(book)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def refusals(content: bytes, suffix: str = ".xlsx", base: Any = None) -> dict[str, str]:
    with pytest.raises(DocumentError) as error:
        read_plan_table(content, suffix, base).parse_building()
    return {each.where: each.message for each in error.value.issues}


def put(sheet: str, cell: str, value: Any) -> Any:
    def change(book: Any) -> None:
        book[sheet][cell] = value

    return change


@pytest.mark.parametrize(
    ("sheet", "cell", "value", "says"),
    [
        ("Positions", "C3", "18", None),  # text typed as a number: in the unit above
        ("Positions", "C3", "18 feet", "this is not a length"),
        ("Positions", "C3", 99, "past the end of the wall SE-NE"),
        ("Positions", "B3", "SE-SW", "There is no wall SE-SW"),
        ("Positions", "G3", "Z", "There is no detail Z"),
        ("Positions", "A3", "A2", "is taken by an earlier position"),
        ("Positions", "A3", None, "This is empty; a value is needed."),
        ("Rods", "E4", datetime(2026, 3, 4), "3/4 or 3-4 was typed"),  # noqa: DTZ001
        ("Rods", "B4", 7, "numbered 1 to 4"),
        ("Rods", "A7", "Q", "There is no detail Q in the sheet Details"),
        ("Details", "B2", "middle", "one of centreline, web"),
        ("Details", "C2", None, "This is empty; a value is needed."),
        ("Outline", "B3", "#REF!", "shows the error #REF!"),
        ("Shims", "A3", '1/16"', "appears twice"),
        ("Building", "B3", "cubit", "not “cubit”"),
        ("Building", "B4", None, "This is empty; a value is needed."),
        ("Instruments", "A3", "T1", "appears twice"),
    ],
)
def test_every_error_is_told_by_sheet_and_cell(
    sheet: str, cell: str, value: Any, says: str | None
) -> None:
    content = workbook(put(sheet, cell, value))
    if says is None:
        assert (
            read_plan_table(content, ".xlsx").parse_building().plan.positions[1].along
            == 5486.4
        )
        return
    told = refusals(content)
    place = f"{sheet} {cell}" if says != "numbered 1 to 4" else "Rods B2"
    assert says in told[place], told


def test_errors_in_csv_are_told_by_line_and_column() -> None:
    lines = (
        write_plan_table(build_example_document(), ".csv")
        .decode("utf-8-sig")
        .splitlines()
    )
    row = next(i for i, line in enumerate(lines) if line.startswith("B3,"))
    lines[row] = lines[row].replace("SE-NE", "SE-SW")
    told = refusals("\n".join(lines).encode(), ".csv")
    assert "There is no wall SE-SW" in told[f"line {row + 1}, Wall"]


def test_a_formula_gives_its_last_value_and_without_one_is_refused() -> None:
    content = workbook(put("Positions", "C3", "=9+9"))
    assert "This formula has no value yet" in refusals(content)["Positions C3"]
    saved = _replaced(content, b"<f>9+9</f><v />", b"<f>9+9</f><v>18</v>")
    plan = read_plan_table(saved, ".xlsx").parse_building().plan
    assert plan.positions[1].along == 5486.4


def test_a_computed_number_is_taken_as_the_spreadsheet_shows_it() -> None:
    content = workbook(put("Shims", "A3", "=0.1+0.2"))
    saved = _replaced(
        content, b"<f>0.1+0.2</f><v />", b"<f>0.1+0.2</f><v>0.30000000000000004</v>"
    )
    assert read_plan_table(saved, ".xlsx").document["shim_thicknesses"][1] == 0.3


def test_a_merged_cell_counts_for_every_row_it_covers() -> None:
    def merge(book: Any) -> None:
        sheet = book["Positions"]
        sheet["B3"] = None
        sheet["C3"], sheet["D3"] = "30'", None
        sheet["B2"] = "SW-SE"
        sheet.merge_cells("B2:B3")

    plan = read_plan_table(workbook(merge), ".xlsx").parse_building().plan
    assert [each.wall for each in plan.positions[:2]] == [("SW", "SE"), ("SW", "SE")]


def test_titles_blank_rows_and_headings_in_other_words_are_read() -> None:
    def change(book: Any) -> None:
        sheet = book["Rods"]
        sheet["C1"], sheet["D1"] = "SETBACK (in)", "Offset [in]"
        for row in range(2, 8):
            sheet.cell(row, 3, 7 if row % 2 else 12)
            sheet.cell(row, 4, row)
        sheet.insert_rows(1, 2)
        sheet["A1"] = "Anchor rods, all details"
        book["Positions"].insert_rows(3)
        book["Positions"].title = "Anchor plan"

    found = read_plan_table(workbook(change), ".xlsx")
    assert found.parse_building().plan.details["M"].rods[1].inward == pytest.approx(
        7 * 25.4
    )
    assert len(found.parse_building().plan.positions) == 5
    assert found.ignored == ()


def test_what_is_not_understood_is_listed_and_left() -> None:
    def change(book: Any) -> None:
        book["Positions"]["H1"] = "Remarks"
        book["Positions"]["H2"] = "mind the drain"
        book["Building"]["A20"], book["Building"]["B20"] = "Colour", "grey"
        book.create_sheet("Letters")["A1"] = "Dear Sirs"

    found = read_plan_table(workbook(change), ".xlsx")
    found.parse_building()
    told = {each.where: each.message for each in found.ignored}
    assert "column “Remarks”" in told["Positions H1"]
    assert "Unknown label “Colour”" in told["Building row 20"]
    assert "“Letters” is none of a plan's" in told["Letters"]


def test_what_the_building_lacks_is_named() -> None:
    def remove(book: Any) -> None:
        del book["Outline"]
        book["Building"].delete_rows(2)

    told = refusals(workbook(remove))
    assert told["sheet Outline"] == "This is empty; a value is needed."
    assert told["sheet Building"] == "This is empty; a value is needed."


def test_a_sheet_without_its_headings_is_refused_as_a_whole() -> None:
    told = refusals(workbook(put("Positions", "A1", "Thing")))
    assert told == {
        "Positions": "No row of this sheet has the headings it needs: Mark, Detail."
    }


def test_sheets_are_known_by_their_headings_where_names_say_nothing() -> None:
    def rename(book: Any) -> None:
        book["Positions"].title = "Sheet1"
        book["Outline"].title = "Sheet2"

    found = read_plan_table(workbook(rename), ".xlsx")
    assert found.parse_building().plan.outline == (
        read_plan_table(workbook(), ".xlsx").parse_building().plan.outline
    )


# A part of a plan, over the plan in force


def test_positions_alone_change_the_plan_in_force_in_nothing_else() -> None:
    content = b"Mark,Wall,Along,Detail\nA2,SW-SE,21 1/2,M\nA3,SW-SE,30,E\n"
    found = read_plan_table(content, ".csv", build_example_document())
    expected = build_example_document()
    expected["positions"] = [
        {"mark": "A2", "wall": "SW-SE", "along": "21 1/2 ft", "detail": "M"},
        {"mark": "A3", "wall": "SW-SE", "along": 30, "detail": "E"},
    ]
    assert (
        found.parse_building().plan
        == read_plan_table(write_plan_table(expected, ".csv"), ".csv")
        .parse_building()
        .plan
    )
    assert found.document["concrete"] == expected["concrete"]


def test_another_unit_needs_every_sheet() -> None:
    content = b"Building\nName,Example shed\nLength unit,m\n"
    told = refusals(content, ".csv", build_example_document())
    assert "needs all sheets" in told["line 3, Length unit"]


# Files that are none, or too large


def _replaced(content: bytes, old: bytes, new: bytes) -> bytes:
    """Change bytes inside the parts of a workbook."""
    out, changed = io.BytesIO(), 0
    with (
        zipfile.ZipFile(io.BytesIO(content)) as source,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target,
    ):
        for entry in source.infolist():
            part = source.read(entry)
            changed += part.count(old)
            target.writestr(entry.filename, part.replace(old, new))
    assert changed
    return out.getvalue()


def _with_part(content: bytes, name: str, part: bytes) -> bytes:
    out = io.BytesIO(content)
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(name, part)
    return out.getvalue()


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "no XLSX workbook"),
        (b"PK\x03\x04 and no more", "no XLSX workbook"),
        (
            xlsx_io._OLE_SIGNATURE + bytes(600),
            "protected by a password or is an old .xls file",
        ),
    ],
)
def test_what_is_no_workbook_is_refused_in_words(content: bytes, says: str) -> None:
    assert says in refusals(content)[""]


def test_a_damaged_workbook_is_refused_in_words() -> None:
    content = _replaced(workbook(), b"<sheetData>", b"<sheetData><row")
    assert "damaged" in refusals(content)[""]


def test_a_small_file_that_unpacks_to_a_large_one_is_refused() -> None:
    bomb = _with_part(workbook(), "xl/worksheets/sheet99.xml", bytes(41_000_000))
    assert len(bomb) < 100_000
    assert "Unpacked, this workbook is larger" in refusals(bomb)[""]
    bomb = _with_part(workbook(), "xl/media/picture.bin", bytes(5_000_000))
    assert "Unpacked, this workbook is larger" in refusals(bomb)[""]


def test_too_many_parts_are_refused() -> None:
    content = io.BytesIO(workbook())
    with zipfile.ZipFile(content, "a") as archive:
        for number in range(xlsx_io.MAX_ARCHIVE_ENTRIES):
            archive.writestr(f"xl/part{number}.bin", b"")
    assert "Unpacked, this workbook is larger" in refusals(content.getvalue())[""]


def test_entities_are_refused() -> None:
    content = _replaced(
        workbook(), b"<worksheet ", b'<!DOCTYPE a [<!ENTITY b "c">]><worksheet '
    )
    assert "entities" in refusals(content)[""]


def test_entities_are_refused_in_another_encoding_too() -> None:
    part = '<?xml version="1.0" encoding="UTF-16"?><!DOCTYPE a [<!ENTITY b "c">]><a/>'
    content = _with_part(workbook(), "xl/extra.xml", part.encode("utf-16"))
    assert "entities" in refusals(content)[""]


def test_a_merged_range_over_everything_is_refused() -> None:
    content = _replaced(
        workbook(),
        b"</sheetData>",
        b'</sheetData><mergeCells><mergeCell ref="A1:XFD1048576"/></mergeCells>',
    )
    assert any("cells are merged" in message for message in refusals(content).values())


def test_a_cell_far_out_is_refused() -> None:
    told = refusals(workbook(put("Positions", "BZ3", "x")))
    assert "at most 20000 rows, 64 columns" in told["Positions row 3"]


def test_csv_that_is_too_long_or_too_wide_is_refused() -> None:
    told = refusals(b"Mark,Detail\n" + b"A,M\n" * 20_001, ".csv")
    assert "more than 20000 lines" in told["line 20001"]
    told = refusals(b"Mark,Detail" + b"," * 100, ".csv")
    assert "102 columns; at most 64 are allowed" not in told
    assert "columns; at most 64 are allowed" in told["line 1"]


def test_csv_in_another_encoding_says_how_to_save_it() -> None:
    assert "save it as UTF-8" in refusals("Mark½".encode("cp1252"), ".csv")[""]


# Going out


@pytest.mark.parametrize("suffix", [".csv", ".xlsx"])
def test_no_cell_goes_out_as_a_formula(suffix: str) -> None:
    document = build_example_document()
    document["positions"][0]["mark"] = '=HYPERLINK("http://example.org")'
    document["name"] = "@SUM(A1)"
    content = write_plan_table(document, suffix)
    if suffix == ".csv":
        text = content.decode("utf-8-sig")
        assert "'=HYPERLINK" in text
        assert "Name,'@SUM(A1)" in text
    else:
        book = openpyxl.load_workbook(io.BytesIO(content))
        kinds = {cell.data_type for row in book["Positions"].rows for cell in row}
        assert "f" not in kinds
    assert (
        read_plan_table(content, suffix)
        .parse_building()
        .plan.positions[0]
        .mark.startswith("=")
    )
