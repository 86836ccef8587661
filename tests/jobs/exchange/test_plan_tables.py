"""Plans as workbooks and CSV: round trips, what is refused, and by which place."""

import pytest
from hypothesis import given, settings

from jobs.exchange.input.parser import parse_building
from jobs.exchange.tables.example_building import build_example_document
from jobs.exchange.tables.table_files import read_plan_table, write_plan_table
from tests.jobs.exchange.example import example
from tests.jobs.plan_strategies import plans


@pytest.mark.parametrize("suffix", [".xlsx", ".csv"])
def test_the_templates_building_reads_back(suffix):
    document = build_example_document()
    found = read_plan_table(write_plan_table(document, suffix), suffix)
    assert found.parse_building() == parse_building(document)
    assert found.ignored == ()


@pytest.mark.parametrize("suffix", [".xlsx", ".csv"])
def test_a_plan_with_something_of_everything_reads_back(suffix):
    document = example()
    document["tolerances"]["overrides"]["column_turn"] = "0.75 deg"
    del document["readings"]
    found = read_plan_table(write_plan_table(document, suffix), suffix)
    assert found.parse_building() == parse_building(document)


@given(plans())
@settings(max_examples=120, deadline=None)
def test_any_plan_reads_back_from_csv(document):
    plan = parse_building(document)
    assert (
        read_plan_table(write_plan_table(document, ".csv"), ".csv").parse_building()
        == plan
    )


@given(plans())
@settings(max_examples=40, deadline=None)
def test_any_plan_reads_back_from_a_workbook(document):
    plan = parse_building(document)
    assert (
        read_plan_table(write_plan_table(document, ".xlsx"), ".xlsx").parse_building()
        == plan
    )
