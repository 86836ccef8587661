"""Plans as workbooks and CSV: round trips, what is refused, and by which place."""

import pytest
from hypothesis import given, settings

from jobs.exchange.parse import read_building
from jobs.exchange.tables.files import read_plan, write_plan
from jobs.exchange.tables.template import example_plan
from tests.jobs.example import example
from tests.jobs.plans import plans


@pytest.mark.parametrize("suffix", [".xlsx", ".csv"])
def test_the_templates_building_reads_back(suffix):
    document = example_plan()
    found = read_plan(write_plan(document, suffix), suffix)
    assert found.building() == read_building(document)
    assert found.left == ()


@pytest.mark.parametrize("suffix", [".xlsx", ".csv"])
def test_a_plan_with_something_of_everything_reads_back(suffix):
    document = example()
    del document["readings"]
    found = read_plan(write_plan(document, suffix), suffix)
    assert found.building() == read_building(document)


@given(plans())
@settings(max_examples=120, deadline=None)
def test_any_plan_reads_back_from_csv(document):
    plan = read_building(document)
    assert read_plan(write_plan(document, ".csv"), ".csv").building() == plan


@given(plans())
@settings(max_examples=40, deadline=None)
def test_any_plan_reads_back_from_a_workbook(document):
    plan = read_building(document)
    assert read_plan(write_plan(document, ".xlsx"), ".xlsx").building() == plan
