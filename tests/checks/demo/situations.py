"""Where the demo shows each situation: job, building, and what its result has there.

A change of the demo's data or of the evaluation that loses one fails a test.
"""

from collections.abc import Callable, Iterable
from typing import Any, NamedTuple

Result = dict[str, Any]


class Situation(NamedTuple):
    """A situation, its place in the demo, and how the latest result shows it."""

    name: str
    job: str
    building: str
    shows: Callable[[Result], bool]


def find_finding(result: Result, topic: str) -> dict[str, Any]:
    """Find a finding of a result; an empty one where there is none."""
    empty = {"remedies": [{"remedy": "", "reason": ""}], "ruled_out": []}
    return next((f for f in result["findings"] if f["finding"] == topic), empty)


def find_check(result: Result, key: str) -> dict[str, Any]:
    """Find a check of a result."""
    return next(row for row in result["checks"] if row["check"] == key)


def is_first(result: Result, topic: str, remedy: str) -> bool:
    """Return True if a remedy is the first of a finding, and waits for nothing."""
    first = find_finding(result, topic)["remedies"][0]
    return first["remedy"] == remedy and not first.get("unconfirmed")


def explain_ruled_out(result: Result, topic: str, remedy: str) -> str:
    """Return why a finding rules a remedy out; an empty text where it does not."""
    ruled_out = find_finding(result, topic).get("ruled_out", [])
    return next((r["reason"] for r in ruled_out if r["remedy"] == remedy), "")


def are_within(result: Result, kinds: Iterable[str], *marks: str) -> bool:
    """Return True if the checks of these kinds at these marks are all within."""
    verdicts = {
        row["verdict"]
        for row in result["checks"]
        if row["kind"] in kinds and row["mark"] in marks
    }
    return verdicts == {"within"}


RODS = ("line", "setback", "offset")


def _show_turned_column(result: Result) -> bool:
    reasons = [
        explain_ruled_out(result, f"position:{mark}", "shift") for mark in ("C2", "C3")
    ]
    return are_within(result, RODS, "C2", "C3") and all(
        "only when turned" in reason for reason in reasons
    )


def _show_stacked_tolerances(result: Result) -> bool:
    fit_up = result["fit_up"]
    return (
        are_within(result, RODS, "A2", "A3")
        and is_first(result, "fit_up", "ream")
        and fit_up["bays"][0]["marks"] == ["A2", "A3"]
        and not fit_up["goes_together_as_read"]
    )


def _show_reading_set_aside(result: Result) -> bool:
    wall = find_check(result, "wall:SE-NE")
    return len(wall["set_aside"]) == 1 and wall["observed"] is not None


def _show_contradicting_repeats(result: Result) -> bool:
    wall = find_check(result, "wall:SW-SE")
    return wall["observed"] is None and wall["readings"] == 2


def _show_misread_diagonal(result: Result) -> bool:
    square = result["squareness"]
    return (
        square["cannot_tell_which"]
        and is_first(result, "squareness", "remeasure")
        and not square["square_up"]
    )


def _show_implausible_strength(result: Result) -> bool:
    reason = find_finding(result, "strength")["remedies"][0]["reason"]
    return "second sample" in reason and "F2" in reason


def _show_plan_warnings(result: Result) -> bool:
    messages = " ".join(row["message"] for row in result["plan_warnings"])
    return "Table J3.4" in messages and "too little for plate" in messages


def _show_shop_slots(result: Result) -> bool:
    first = find_finding(result, "position:C3")["remedies"][0]
    sixteenths = [slot["length"] / 25.4 * 16.0 for slot in first.get("slots", [])]
    return (
        is_first(result, "position:C3", "slot")
        and {slot["axis"] for slot in first["slots"]} == {"in"}
        and all(abs(each - round(each)) < 1e-6 for each in sixteenths)
    )


def _show_wait_for_repeat(result: Result) -> bool:
    first = find_finding(result, "position:C2")["remedies"][0]
    return first["remedy"] == "remeasure" and first.get("follows") == "ream"


def _show_coarse_reading(result: Result) -> bool:
    remedies = find_finding(result, "position:G14")["remedies"]
    return [r["remedy"] for r in remedies] == ["remeasure"] and bool(
        find_check(result, "line:G14")["better_measurement"]
    )


def _show_bays_and_spans(result: Result) -> bool:
    kinds = {row["kind"] for row in result["checks"] if row["observed"] is not None}
    return kinds >= {"bay", "span"}


def _show_failed_screen(result: Result) -> bool:
    reason = explain_ruled_out(result, "position:A3", "re_anchor")
    return is_first(result, "position:A3", "refer") and "drill clear" in reason


def _show_two_places(result: Result) -> bool:
    rods = next(p for p in result["positions"] if p["mark"] == "J1")["rods"]
    return rods[1].get("other_along") is not None


def _show_next_readings(result: Result) -> bool:
    kinds = {row["kind"] for row in result["next_readings"]}
    return "unread" in kinds


def _show_resultant_lean(result: Result) -> bool:
    reason = find_finding(result, "plumb:A2.in")["remedies"][0]["reason"]
    return are_within(result, ("plumb",), "A2") and bool(reason)


def _show_specified_location(result: Result) -> bool:
    rods = next(p for p in result["positions"] if p["mark"] == "A2")["rods"]
    return (
        result["tolerances"]["basis"] == "aisc-303-2016"
        and are_within(result, RODS, "A2")
        and "outside" in {rod["verdict"] for rod in rods}
        and bool(find_finding(result, "position:A2")["remedies"][0]["remedy"])
    )


SITUATIONS = (
    Situation("column turned", "P-1058", "Wheel store", _show_turned_column),
    Situation("tolerances stack", "P-1086", "Canopy", _show_stacked_tolerances),
    Situation("slots of a shop", "P-1086", "Canopy", _show_shop_slots),
    Situation("reading set aside", "P-1080", "Cold store", _show_reading_set_aside),
    Situation("no value", "P-1080", "Cold store", _show_contradicting_repeats),
    Situation("misread diagonal", "P-1087", "Stable", _show_misread_diagonal),
    Situation("sample in doubt", "P-1088", "Salt barn", _show_implausible_strength),
    Situation("plan in doubt", "P-1093", "Net loft", _show_plan_warnings),
    Situation("wait for repeat", "P-1079", "Weighhouse", _show_wait_for_repeat),
    Situation("reading too coarse", "P-1047", "Long hangar", _show_coarse_reading),
    Situation("bays and spans", "P-1052", "Sorting hall", _show_bays_and_spans),
    Situation("re-anchor ruled out", "P-1075", "Rink hall", _show_failed_screen),
    Situation("rod off the plan", "P-1072", "Pattern loft", _show_specified_location),
    Situation("two places", "P-1085", "Pump house", _show_two_places),
    Situation("next readings", "P-1055", "Gymnasium", _show_next_readings),
    Situation("resultant lean", "P-1089", "Repository", _show_resultant_lean),
)
