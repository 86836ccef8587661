"""The readings of an exchange document."""

from collections.abc import Callable, Collection, Mapping, Sequence

from core.quantities import (
    parse_force,
    parse_strength,
    parse_strength_resolution,
    parse_temperature,
)
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.check_sheet import UnknownCheckError, find_check
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import ReadingValue
from jobs.exchange import vocabulary as words
from jobs.exchange.input.json_reader import PLACEHOLDER_LENGTH, JsonReader
from jobs.exchange.input.partial_plan import PartialPlan
from jobs.exchange.input.supersession import Correction, find_supersession_issues

_REQUIRED_MEMBERS = ("check", "value")
_COMMON_MEMBERS = (
    "id",
    "by",
    "at",
    "instrument",
    "temperature",
    "supersedes",
    "note",
)
_TAPE_MEMBERS = ("tension", "slope_rise", "span")
_LEVEL_MEMBERS = ("setup", "sight")
_OPTIONAL_MEMBERS = (
    *_COMMON_MEMBERS,
    *_TAPE_MEMBERS,
    *_LEVEL_MEMBERS,
    "from",
    "height",
)

_LEVEL_KINDS = frozenset({CheckKind.LEVEL, CheckKind.BENCHMARK})
_TAPE_KINDS = (
    frozenset(CheckKind) - _LEVEL_KINDS - {CheckKind.STRENGTH, CheckKind.PLUMB}
)
_SIGNED_KINDS = frozenset({CheckKind.OFFSET, CheckKind.PLUMB})
_ZERO_ALLOWED_KINDS = frozenset(
    {
        CheckKind.LINE,
        CheckKind.SETBACK,
        CheckKind.PROJECTION,
        CheckKind.LEVEL,
        CheckKind.BENCHMARK,
        CheckKind.NOTCH_WIDTH,
        CheckKind.NOTCH_DEPTH,
    }
)
MEMBER_KINDS: dict[str, tuple[frozenset[CheckKind], str]] = {
    "from": (frozenset({CheckKind.LINE}), "a line"),
    "height": (frozenset({CheckKind.PLUMB}), "plumb"),
    **dict.fromkeys(_LEVEL_MEMBERS, (_LEVEL_KINDS, "a level or a benchmark")),
    **dict.fromkeys(_TAPE_MEMBERS, (_TAPE_KINDS, "what a tape measures")),
}


def parse_readings(cursor: JsonReader, sketch: PartialPlan) -> tuple[ReadingValue, ...]:
    """Read all readings; the same one sent twice is one reading."""
    items = cursor.read_list()
    given = {
        item.value["id"].strip()
        for item in items
        if isinstance(item.value, dict) and isinstance(item.value.get("id"), str)
    }
    read: dict[str, ReadingValue] = {}
    where: dict[str, JsonReader] = {}
    unsure: set[str] = set()
    errors = cursor.collector.issues
    for number, item in enumerate(items, start=1):
        before = len(errors)
        reading = parse_entry(item, sketch, _derive_id(number, given))
        if len(errors) > before or not sketch.can_rule_out(
            _parse_kind(reading.check), reading.check
        ):
            unsure.add(reading.id)
        if reading.id not in read:
            read[reading.id], where[reading.id] = reading, item
        elif reading != read[reading.id]:
            item.child("id").add_issue(
                f"The id {reading.id} belongs to another reading, at "
                f"{where[reading.id].pointer}, with other content; a correction is "
                f"a new reading with its own id that supersedes the old."
            )
    readings = tuple(read.values())
    _report_supersession_issues(readings, where, unsure)
    return readings


def _report_supersession_issues(
    readings: Sequence[ReadingValue],
    where: Mapping[str, JsonReader],
    unsure: Collection[str],
) -> None:
    """Report the corrections that cannot replace the reading they name."""
    if all(each.supersedes is None for each in readings):
        return
    corrections = [
        Correction(id=each.id, subject=each.check, supersedes=each.supersedes)
        for each in readings
    ]
    for issue in find_supersession_issues(corrections, unsure=unsure):
        where[issue.id].child("supersedes").add_issue(issue.message)


def _derive_id(number: int, given: set[str]) -> str:
    derived = f"reading-{number}"
    while derived in given:
        derived += "-bis"
    return derived


def parse_entry(
    cursor: JsonReader, sketch: PartialPlan, derived_id: str
) -> ReadingValue:
    """Read one reading; a stand-in where anything of it was refused."""
    members = cursor.read_object(_REQUIRED_MEMBERS, _OPTIONAL_MEMBERS)
    key = (
        members["check"].read_name(3 * words.MAX_NAME_LENGTH)
        if "check" in members
        else ""
    )
    check, kind = _find_check(members.get("check"), key, sketch)
    _report_misplaced_members(members, kind)
    value, text, resolution = _parse_value(members.get("value"), check, kind)
    if kind is CheckKind.PLUMB and "height" not in members:
        cursor.add_issue("A plumb reading needs its “height”: what the lean is over.")

    def optional(name: str, read: Callable[[JsonReader], float]) -> float | None:
        return read(members[name]) if name in members else None

    def name_of(name: str, longest: int = words.MAX_NAME_LENGTH) -> str | None:
        return members[name].read_name(longest) if name in members else None

    return ReadingValue(
        id=name_of("id", words.MAX_ID_LENGTH) or derived_id,
        check=check.key if check is not None else key,
        value=value,
        text=text,
        resolution=resolution,
        by=name_of("by", 60),
        at=members["at"].read_time() if "at" in members else None,
        instrument=_parse_instrument_name(members.get("instrument"), sketch),
        temperature=optional(
            "temperature", lambda c: c.read_quantity(parse_temperature)
        ),
        tension=optional("tension", lambda c: c.read_quantity(parse_force, above=0.0)),
        slope_rise=optional("slope_rise", lambda c: _parse_slope_rise(c, value)),
        span=optional("span", lambda c: c.read_mm(above=0.0)),
        sight_distance=optional("sight", lambda c: c.read_mm(above=0.0)),
        from_corner=_parse_from_corner(members.get("from"), check),
        setup=name_of("setup") or "1",
        height=optional("height", lambda c: c.read_mm(above=0.0)),
        supersedes=name_of("supersedes", words.MAX_ID_LENGTH),
        note=members["note"].read_note(words.MAX_NOTE_LENGTH)
        if "note" in members
        else "",
    )


MAX_SLOPE_RATIO = 0.9
"""Rise over taped length that is surely a slip of the pen. Ours."""


def _parse_slope_rise(cursor: JsonReader, taped: float) -> float:
    """Read the rise of a length taped on the slope. [mm]"""
    rise = cursor.read_mm()
    if abs(rise) > MAX_SLOPE_RATIO * abs(taped) and taped:
        cursor.add_issue(
            "A rise is much less than the length taped along it; this one is more "
            "than nine tenths of it."
        )
    return rise


_KINDS_BY_WORD = {str(kind): kind for kind in CheckKind}


def _parse_kind(key: str) -> CheckKind | None:
    word, colon, _ = key.partition(":")
    return _KINDS_BY_WORD.get(word) if colon else None


def _find_check(
    cursor: JsonReader | None, key: str, sketch: PartialPlan
) -> tuple[Check | None, CheckKind | None]:
    """Find the check, or what kind it is where the plan may yet have it."""
    if cursor is None or not key:
        return None, None
    kind = _parse_kind(key)
    try:
        check = find_check(sketch.plan, key)
    except UnknownCheckError as error:
        if sketch.can_rule_out(kind, key):
            cursor.add_issue(str(error))
        return None, kind
    return check, check.kind


def _report_misplaced_members(
    members: Mapping[str, JsonReader], kind: CheckKind | None
) -> None:
    """Refuse members that a check of this kind would pass over in silence."""
    if kind is None:
        return
    for name, (kinds, what) in MEMBER_KINDS.items():
        if name in members and kind not in kinds:
            members[name].add_issue(
                f"“{name}” goes with {what}; a reading of {kind} has none."
            )


def _parse_value(
    cursor: JsonReader | None, check: Check | None, kind: CheckKind | None
) -> tuple[float, str, float]:
    """Read the value, its text and its resolution [mm; MPa for a strength]."""
    if cursor is None:
        return 0.0, "", 0.0
    if kind is CheckKind.STRENGTH:
        errors = len(cursor.collector.issues)
        strength = cursor.read_quantity(parse_strength, above=0.0)
        if len(cursor.collector.issues) > errors:
            return 0.0, "", 0.0
        return strength, cursor.value.strip(), parse_strength_resolution(cursor.value)
    if kind is None or kind in _SIGNED_KINDS or _allows_negative_setback(kind, check):
        length = cursor.read_length()
    elif kind in _ZERO_ALLOWED_KINDS:
        length = cursor.read_length(at_least=0.0)
    else:
        length = cursor.read_length(above=0.0)
    if length is PLACEHOLDER_LENGTH:
        return 0.0, "", 0.0
    return float(length.mm), length.text, float(length.resolution_mm)


def _allows_negative_setback(kind: CheckKind, check: Check | None) -> bool:
    """Whether a setback is signed: at a point, or planned on or outside the line."""
    if kind is not CheckKind.SETBACK:
        return False
    if check is None or not check.corners:
        return True
    return check.nominal is not None and check.nominal <= 0.0


def _parse_instrument_name(
    cursor: JsonReader | None, sketch: PartialPlan
) -> str | None:
    if cursor is None:
        return None
    name = cursor.read_name()
    instruments = sketch.plan.instruments
    if sketch.instruments_known and name and name not in instruments:
        known = ", ".join(list(instruments)[:12])
        cursor.add_issue(
            f"There is no instrument {name}; "
            + (f"the instruments are {known}." if known else "there are none.")
        )
    return name


def _parse_from_corner(cursor: JsonReader | None, check: Check | None) -> str | None:
    """Read the corner a line was measured from."""
    if cursor is None:
        return None
    name = cursor.read_name()
    if check is not None and check.kind is CheckKind.LINE and name not in check.corners:
        cursor.add_issue(
            f"A reading of {check.key} is taken from one of its wall's corners, "
            f"{' or '.join(check.corners)}."
        )
    return name
