"""Columns out of plumb: what their findings say."""

from checks.evaluation.evaluate import evaluate
from jobs.exchange.input.parser import parse_building
from tests import documents


def explain_lean(mark: str, **leans: str) -> str:
    """Return the reason of the remedy for leans over 6 m, in a metric building."""
    document = documents.shed()
    document["length_unit"] = "mm"
    document["readings"] += [
        {"id": axis, "check": f"plumb:{mark}.{axis}", "value": lean, "height": "6 m"}
        for axis, lean in leans.items()
    ]
    findings = evaluate(parse_building(document))["findings"]
    found = next(f for f in findings if f["finding"].startswith("plumb"))
    return str(found["remedies"][0]["reason"])


def test_the_height_of_a_column_is_written_in_whole_millimetres() -> None:
    reason = explain_lean("A1", **{"in": "13 mm"})
    assert "by 13.0 mm inward over 6000 mm; 12.0 mm is allowed" in reason


def test_a_resultant_lean_names_its_larger_direction() -> None:
    reason = explain_lean("A1", **{"in": "9 mm", "along": "10 mm"})
    assert "both together lean 13.5 mm over 6000 mm" in reason  # root of 9² + 10²
    assert "It leans more along the wall: move the top" in reason
