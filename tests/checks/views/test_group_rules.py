"""Rules on groups of rods as the building's page lists them."""

from django.template.loader import render_to_string

from checks.evaluation.evaluate import evaluate
from checks.queries.building_tables import build_rule_rows
from jobs.exchange.input.parser import parse_building
from tests.documents import plan, read_perfectly


def test_a_rule_that_cannot_be_judged_yet_is_listed_as_not_measured() -> None:
    document = read_perfectly(plan())
    document["tolerances"] = {"basis": "en-1090-2-2008"}
    readings = document["readings"]
    document["readings"] = [each for each in readings if each["check"] != "line:A2"]
    result = evaluate(parse_building(document))
    rows = build_rule_rows(result)
    assert [row.between for row in rows["unmeasured"]] == ["A2"]
    assert sum(map(len, rows.values())) == len(result["group_rules"])
    shown = render_to_string(
        "checks/group_rule_table.html", {"rows": rows["unmeasured"], "units": "metric"}
    )
    assert "Centre of the rods at A2" in shown
    assert "EN 1090-2:2008" in shown
