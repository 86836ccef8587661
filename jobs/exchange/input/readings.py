"""The readings of a building document."""

from collections.abc import Collection, Mapping, Sequence

from core.quantities import parse_strength, parse_strength_resolution
from jobs.anchor_plan.check_keys import (
    LEVEL_KINDS,
    NOTCH_KINDS,
    CheckKey,
    CheckKind,
    kind_of,
)
from jobs.anchor_plan.check_sheet import UnknownCheckError
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import ReadingValue
from jobs.exchange import vocabulary
from jobs.exchange.input import plausibility
from jobs.exchange.input.corners import list_names
from jobs.exchange.input.json_reader import PLACEHOLDER_LENGTH, JsonReader
from jobs.exchange.input.members import read_members
from jobs.exchange.input.partial_plan import PartialPlan
from jobs.exchange.input.reading_format import MEMBER_KINDS, ReadingMembers
from jobs.exchange.input.supersession import Correction, find_supersession_issues
from jobs.exchange.issues import IssueCode

MAX_SLOPE_RATIO = 0.9
"""A rise over taped length above this is a typing error. Project choice."""

_SIGNED_KINDS = frozenset({CheckKind.OFFSET, CheckKind.PLUMB})
_ZERO_ALLOWED_KINDS = (
    frozenset({CheckKind.LINE, CheckKind.SETBACK, CheckKind.PROJECTION})
    | LEVEL_KINDS
    | NOTCH_KINDS
)


def parse_readings(
    items: Sequence[JsonReader], partial: PartialPlan
) -> tuple[ReadingValue, ...]:
    """Parse all readings; one that is sent twice is one reading."""
    given = {
        item.value["id"].strip()
        for item in items
        if isinstance(item.value, dict) and isinstance(item.value.get("id"), str)
    }
    read: dict[str, ReadingValue] = {}
    readers: dict[str, JsonReader] = {}
    uncertain: set[str] = set()  # ids of readings whose check is not known for sure
    complete = partial.is_complete
    for number, item in enumerate(items, start=1):
        before = len(item.collector.issues)
        reading = parse_entry(item, partial, _derive_id(number, given))
        refused = len(item.collector.issues) > before
        if refused or not (complete or partial.can_rule_out(reading.check)):
            uncertain.add(reading.id)
        if reading.id not in read:
            read[reading.id], readers[reading.id] = reading, item
        # Phones resend what was not acknowledged, so the same reading twice is no
        # issue.
        elif reading != read[reading.id]:
            item.child("id").add_issue(
                f"The id {reading.id} belongs to another reading, at "
                f"{readers[reading.id].pointer}, with other content. Give a correction "
                "an id of its own, and name the reading it supersedes.",
                IssueCode.DUPLICATE,
            )
    readings = tuple(read.values())
    _report_supersession_issues(readings, readers, uncertain)
    return readings


def _report_supersession_issues(
    readings: Sequence[ReadingValue],
    readers: Mapping[str, JsonReader],
    uncertain: Collection[str],
) -> None:
    if all(each.supersedes is None for each in readings):
        return
    corrections = [
        Correction(id=each.id, subject=each.check, supersedes=each.supersedes)
        for each in readings
    ]
    for issue in find_supersession_issues(corrections, unsure=uncertain):
        readers[issue.id].child("supersedes").add_issue(
            issue.message, IssueCode.CONFLICT
        )


def _derive_id(number: int, given: set[str]) -> str:
    derived = f"reading-{number}"
    while derived in given:
        derived += "-bis"
    return derived


def parse_entry(
    reader: JsonReader, partial: PartialPlan, derived_id: str
) -> ReadingValue:
    """Parse one reading, with placeholders where anything of it was refused."""
    members = read_members(reader, ReadingMembers)
    key = members.get("check", "")
    check, kind = _find_check(reader, key, partial)
    _report_misplaced_members(reader, members, kind)
    # Whether zero or a sign is allowed depends on the kind and on the planned value.
    value, text, resolution = _parse_value(members.get("value"), check, kind)
    if kind is CheckKind.PLUMB and "height" not in members:
        reader.add_issue(
            "A plumb reading needs “height”: the height between the two marks.",
            IssueCode.MISSING_FIELD,
            "height",
        )
    _check_slope_rise(reader, members, value)
    _check_plausibility(reader, members, kind, value)
    if kind is CheckKind.STRENGTH:
        _check_break_day(reader, members, partial)
    _check_instrument(reader, members, partial)
    _check_from_corner(reader, members, check)
    return ReadingValue(
        id=members.get("id") or derived_id,
        check=check.key if check is not None else str.__new__(CheckKey, key),
        value=value,
        text=text,
        resolution=resolution,
        by=members.get("by"),
        at=members.get("at"),
        instrument=members.get("instrument"),
        temperature=members.get("temperature"),
        tension=members.get("tension"),
        slope_rise=members.get("slope_rise"),
        span=members.get("span"),
        sight_distance=members.get("sight"),
        from_corner=members.get("from"),
        setup=members.get("setup") or vocabulary.DEFAULT_SETUP,
        height=members.get("height"),
        supersedes=members.get("supersedes"),
        withdrawn=members.get("withdrawn"),
        note=members.get("note", ""),
    )


# ---- the check and the value --------------------------------------------------------


def _find_check(
    reader: JsonReader, key: str, partial: PartialPlan
) -> tuple[Check | None, CheckKind | None]:
    """Find the check, or at least its kind where the plan may yet have it."""
    if not key:
        return None, None
    try:
        check = partial.find_check(key)
    except UnknownCheckError as error:
        if partial.can_rule_out(key):
            reader.child("check").add_issue(str(error), IssueCode.UNKNOWN_NAME)
        return None, kind_of(key)
    return check, check.kind


def _parse_value(
    reader: JsonReader | None, check: Check | None, kind: CheckKind | None
) -> tuple[float, str, float]:
    """Parse the value, its text and its resolution [mm; MPa for a strength]."""
    if reader is None:
        return 0.0, "", 0.0
    if kind is CheckKind.STRENGTH:
        before = len(reader.collector.issues)
        strength = reader.read_quantity(
            parse_strength, above=0.0, at_most=plausibility.MAX_STRENGTH
        )
        if len(reader.collector.issues) > before:
            return 0.0, "", 0.0
        return strength, reader.value.strip(), parse_strength_resolution(reader.value)
    if kind is None or kind in _SIGNED_KINDS or _allows_negative_setback(kind, check):
        length = reader.read_length()
    elif kind in _ZERO_ALLOWED_KINDS:
        length = reader.read_length(at_least=0.0)
    else:
        length = reader.read_length(above=0.0)
    if length is PLACEHOLDER_LENGTH:
        return 0.0, "", 0.0
    return float(length.mm), length.text, float(length.resolution_mm)


def _allows_negative_setback(kind: CheckKind, check: Check | None) -> bool:
    """Return True for a setback at a point, or planned on or outside the line."""
    if kind is not CheckKind.SETBACK:
        return False
    if check is None or not check.corners:
        return True
    return check.nominal is not None and check.nominal <= 0.0


# ---- rules among members ------------------------------------------------------------


def _report_misplaced_members(
    reader: JsonReader, members: ReadingMembers, kind: CheckKind | None
) -> None:
    """Report members that a check of this kind would silently ignore."""
    if kind is None or MEMBER_KINDS.keys().isdisjoint(members):
        return
    for name, (kinds, words) in MEMBER_KINDS.items():
        if name in members and kind not in kinds:
            reader.child(name).add_issue(
                f"“{name}” belongs to readings of {words}, not to {kind}.",
                IssueCode.CONFLICT,
            )


def _check_slope_rise(
    reader: JsonReader, members: ReadingMembers, taped: float
) -> None:
    rise = members.get("slope_rise", 0.0)
    # A refused value has the placeholder 0, which says nothing about the rise.
    if taped and abs(rise) > MAX_SLOPE_RATIO * abs(taped):
        reader.child("slope_rise").add_issue(
            "A rise is much less than the length taped along it; this one is more than "
            "nine tenths of it."
        )


def _check_plausibility(
    reader: JsonReader, members: ReadingMembers, kind: CheckKind | None, value: float
) -> None:
    """Refuse heights, sights and rod readings that cannot be."""
    height, sight = members.get("height"), members.get("sight")
    if height is not None and height and kind is CheckKind.PLUMB:
        low, high = plausibility.MIN_PLUMB_HEIGHT_MM, plausibility.MAX_PLUMB_HEIGHT_MM
        if not low <= height <= high:
            reader.child("height").add_issue(
                "The height of a plumb reading is from 0.1 m to 200 m (4 in to 650 ft)."
                " Check this value and its unit."
            )
        elif lean := plausibility.explain_lean(value, height):
            reader.child("value").add_issue(lean)
    if sight is not None and sight > plausibility.MAX_SIGHT_MM:
        reader.child("sight").add_issue(
            "A level does not read a rod further than 500 m (1640 ft). Check this value"
            " and its unit."
        )
    if kind in LEVEL_KINDS and value > plausibility.MAX_GRADE_ROD_MM:
        reader.child("value").add_issue(
            "No grade rod is longer than 10 m (33 ft). Check this value and its unit."
        )


def _check_break_day(
    reader: JsonReader, members: ReadingMembers, partial: PartialPlan
) -> None:
    """Refuse a sample that comes in with a day before the concrete was a day old.

    One in the record already is flagged by the evaluation: the day of placing may have
    been corrected since.
    """
    at = members.get("at")
    if at is None or reader.collector.now is None:
        return
    reason = plausibility.explain_break_day(at.date(), partial.plan.concrete.placed_on)
    if reason:
        reader.child("at").add_issue(reason)


def _check_instrument(
    reader: JsonReader, members: ReadingMembers, partial: PartialPlan
) -> None:
    name, instruments = members.get("instrument"), partial.plan.instruments
    if not name or not partial.instruments_known or name in instruments:
        return
    existing = (
        f"the instruments are {list_names(list(instruments))}."
        if instruments
        else "there are none."
    )
    reader.child("instrument").add_issue(
        f"There is no instrument {name}; {existing}", IssueCode.UNKNOWN_NAME
    )


def _check_from_corner(
    reader: JsonReader, members: ReadingMembers, check: Check | None
) -> None:
    name = members.get("from")
    if not name or check is None or check.kind is not CheckKind.LINE:
        return
    if name not in check.corners:
        reader.child("from").add_issue(
            f"A reading of {check.key} is taken from one of its wall's corners, "
            f"{' or '.join(check.corners)}.",
            IssueCode.UNKNOWN_NAME,
        )
