"""Any building, any readings: always an answer, and findings that match the checks."""

import math
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.check_sheet import build_check_sheet
from jobs.anchor_plan.planned_checks import Check
from jobs.exchange.input.parser import parse_building
from tests.published.contract import Document, building, evaluate_document, read, rods

BAD = {"outside", "remeasure"}
OUTLINES = [
    [(0, 0), (24000, 0), (24000, 15000), (0, 15000)],
    [(0, 0), (20000, 1000), (23000, 14000), (-500, 12000)],
    [(0, 0), (20000, 0), (20000, 8000), (9000, 8000), (9000, 15000), (0, 15000)],
    [(0, 0), (12000, 0), (5000, 9000)],
    [(0, 0), (6000, 0), (12000, 0), (12000, 9000), (0, 9000)],
    [(0, 0), (12000, 0), (12000, 0.001), (0, 9000)],
    [(0, 0), (5_000_000, 0), (2_500_000, 0.01)],
]
BASES = [
    *("metal-building-practice", "aisc-303-2010", "aisc-303-2016"),
    *("aci-117-2010", "en-1090-2-2008"),
]
SHIMS: list[list[str] | None] = [
    None,
    [],
    ["2 mm", "3 mm", "6 mm"],
    ["13 mm"],
    ["1.234567 mm", "7.654321 mm"],
]
OFF = [0.0, 0.0, 0.4, -0.4, 3.175, -2.9, 3.3, -6.0, 12.7, 25.4, -30.0, 304.8, -900.0]
CONCRETE = [
    {},
    {"specified_strength": "25 MPa"},
    {"sufficient_strength": "12 MPa"},
    {"specified_strength": "25 MPa", "sufficient_strength": "12 MPa"},
]


@st.composite
def plans(draw: st.DrawFn) -> Document:
    """A plan with what may be left out left out now and then."""
    corners = draw(st.sampled_from(OUTLINES))
    names = "ABCDEF"[: len(corners)]
    document = building(
        outline=[
            {"corner": name, "x": x, "y": y}
            for name, (x, y) in zip(names, corners, strict=True)
        ],
        positions=[
            {"mark": f"{a}{b}{i}", "wall": f"{a}-{b}", "along": along, "detail": "Q"}
            for a, b in zip(names, names[1:] + names[0], strict=True)
            for i, along in enumerate(_alongs(draw, corners, names, a, b))
        ],
        tolerances={
            "basis": draw(st.sampled_from(BASES)),
            "guarded": draw(st.booleans()),
        },
        concrete=draw(st.sampled_from(CONCRETE)),
    )
    if draw(st.booleans()):
        document["positions"].append(
            {"mark": "P", "x": 5000, "y": 4000, "turn": "-37 deg", "detail": "Q"}
        )
    if draw(st.booleans()):
        document["notch"] = {"width": "40 mm", "depth": "40 mm"}
    shims = draw(st.sampled_from(SHIMS))
    if shims is None:
        del document["shim_thicknesses"]
    else:
        document["shim_thicknesses"] = shims
    _detail(draw, document["details"]["Q"])
    if not draw(st.integers(0, 5)):
        del document["instruments"]
    return document


def _alongs(draw: st.DrawFn, corners: Any, names: str, a: str, b: str) -> list[float]:
    length = math.dist(corners[names.index(a)], corners[names.index(b)])
    places = [length * share for share in (0.0, 0.25, 0.25, 0.5, 1.0)]
    return [math.floor(p) for p in places[: draw(st.sampled_from([0, 1, 3]))]]


def _detail(draw: st.DrawFn, detail: Document) -> None:
    count = draw(st.sampled_from([4, 4, 1, 2, 6]))
    places = [(-60.0 + 120.0 * (i % 2), 150.0 + 120.0 * (i // 2)) for i in range(count)]
    size = draw(st.sampled_from(["20 mm", '3/4"', "5 in"]))
    detail["rods"] = rods(*places, diameter=size)
    if not draw(st.integers(0, 5)):
        del detail["plate"]
    elif not draw(st.integers(0, 3)):
        del detail["plate"][draw(st.sampled_from(["edge_distance", "thickness"]))]
    if not draw(st.integers(0, 5)):
        for rod in detail["rods"]:
            del rod["projection"]


@st.composite
def measured(draw: st.DrawFn) -> Document:
    """A plan with readings: none, a few, most; off by nothing or by anything."""
    document = draw(plans())
    share = draw(st.sampled_from([0, 3, 9, 10]))
    wild = draw(st.sampled_from([1, 3, len(OFF)]))
    random = draw(st.randoms(use_true_random=False))
    for check in build_check_sheet(parse_building(document).plan):
        if random.randrange(10) >= share:
            continue
        for _ in range(random.choice([1, 1, 1, 2])):
            off = random.choice(OFF[:wild]) + random.choice([0.0, 0.1, -0.3])
            _read(document, check, off, random)
    for name in ("B1", "F1", "F2"):
        if random.randrange(10) < share:
            at = {"at": f"2026-03-{random.randint(1, 28):02}T10:00:00Z"}
            if name == "B1":
                for setup in ("1", "2"):
                    value = 1200 + random.choice([0, 0, 1, 9])
                    read(document, f"benchmark:{name}", value, setup=setup)
            else:
                value = f"{random.choice([8, 14, 20, 30])} MPa"
                read(document, f"strength:{name}", value, **at)
    return document


def _read(document: Document, check: Check, off: float, random: Any) -> None:
    value = (check.nominal or (1400.0 if check.kind is CheckKind.LEVEL else 0.0)) + off
    members: dict[str, Any] = {}
    if check.kind is CheckKind.PLUMB:
        members["height"] = "6 m"
    elif check.kind not in (CheckKind.OFFSET, CheckKind.SETBACK):
        value = max(value, 0.5)
    if check.kind is CheckKind.SETBACK and check.corners:
        value = max(value, 0.0)
    if check.kind is CheckKind.LEVEL:
        members["setup"] = random.choice(["1", "1", "2"])
    elif random.randrange(2):
        members["temperature"] = random.choice(["-5 degC", "20 degC", "35 degC"])
    read(document, check.key, f"{value:.3f} mm", **members)


def failing(result: Document) -> set[str]:
    """The topics that what is failing asks for."""
    asked = set()
    marks = {each["check"]: each["mark"] for each in result["checks"]}
    for each in result["checks"]:
        kind, key = each["kind"], each["check"]
        if each["verdict"] not in BAD or kind == "strength":
            continue  # an early sample that is outside is superseded, not open
        if kind in ("line", "setback", "offset", "gage"):
            asked.add(f"position:{marks[key]}")
        elif kind == "projection":
            asked.add(f"projection:{marks[key]}")
        elif kind in ("bay", "span"):
            # Listed with the line or the outline that explains it, else by itself.
            if not any(key in f["checks"] for f in result["findings"]):
                asked.add(key)
            asked |= {f["finding"] for f in result["findings"] if f["finding"] == key}
        else:
            asked.add({"diagonal": "squareness", "benchmark": "levels"}.get(kind, key))
    for each in result["positions"]:
        plate = each["plate_fit"] or {"fits": True}
        if BAD & {rod["verdict"] for rod in each["rods"]} or not plate["fits"]:
            asked.add(f"position:{each['mark']}")
    for each in result["group_rules"]:
        if each["verdict"] in BAD:
            asked.add(f"{each['rule']}:{each['where']}")
    for topic, verdict in (
        ("squareness", result["squareness"]["verdict"]),
        ("strength", result["concrete"]["verdict"]),
        ("levels", result["levels"]["verdict"]),
    ):
        if verdict in BAD:
            asked.add(topic)
    return asked


@settings(
    max_examples=60,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.large_base_example],
)
@given(measured())
def test_findings_are_what_fails_and_nothing_else(document: Document) -> None:
    result = evaluate_document(document)  # also: no exception, no NaN, fits its schema
    findings = list_measured_findings(result)
    topics = [each["finding"] for each in result["findings"]]
    assert len(topics) == len(set(topics))
    # The fit-up fails as a whole: with a misfit as read, and with nothing else.
    if "fit_up" in topics:
        assert result["fit_up"]["misfit"] > 0
    whole = {"fit_up"}
    # Lengths that contradict each other may all be within.
    square = result["squareness"]
    if square["cannot_tell_which"] or square["suspect_readings"]:
        whole.add("squareness")
    found = {each["finding"] for each in findings}
    assert found - whole == failing(result) - whole
    known = {each["check"]: each["verdict"] for each in result["checks"]}
    for each in findings:
        assert each["checks"]
        assert set(each["checks"]) <= set(known)
        first, *others = each["remedies"]
        assert each["approval"] == first["approval"]
        assert "why_second" not in first
        assert all(other["why_second"] for other in others)
        for remedy in each["remedies"]:
            assert "nan" not in remedy["reason"].lower().split()
            assert "nan%" not in remedy["reason"].lower()
    for each in result["checks"]:
        assert (each["verdict"] == "unmeasured") >= (each["readings"] == 0)


def list_measured_findings(result: Document) -> list[Document]:
    """List the findings but those on the plan itself, which need its doubts alone."""
    on_plan = [f for f in result["findings"] if f["finding"].startswith("plan:")]
    assert bool(on_plan) <= bool(result["plan_warnings"])
    return [each for each in result["findings"] if each not in on_plan]


@settings(max_examples=15, deadline=None, derandomize=True)
@given(plans())
def test_nothing_read_gives_no_finding(document: Document) -> None:
    result = evaluate_document(document)
    assert list_measured_findings(result) == []
    assert {each["verdict"] for each in result["checks"]} <= {"unmeasured"}
