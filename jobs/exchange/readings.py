"""The readings of an exchange document."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass

from core.quantities import (
    parse_force,
    parse_strength,
    parse_temperature,
    strength_resolution,
)
from jobs.exchange import vocabulary as words
from jobs.exchange.reader import NO_LENGTH, Cursor
from jobs.exchange.sketch import Sketch
from jobs.plan.model import Reading
from jobs.plan.sheet import Check, Kind, UnknownCheckError, find_check

_REQUIRED = ("check", "value")
_ALWAYS = (
    "id",
    "by",
    "at",
    "instrument",
    "temperature",
    "supersedes",
    "note",
)
_TAPED = ("tension", "slope_rise", "span")
_LEVELLED = ("setup", "sight")
_OPTIONAL = (*_ALWAYS, *_TAPED, *_LEVELLED, "from", "height")

_BY_LEVEL = frozenset({Kind.LEVEL, Kind.BENCHMARK})
_BY_TAPE = frozenset(Kind) - _BY_LEVEL - {Kind.STRENGTH, Kind.PLUMB}
_SIGNED = frozenset({Kind.OFFSET, Kind.PLUMB})
_MAY_BE_ZERO = frozenset(
    {
        Kind.LINE,
        Kind.SETBACK,
        Kind.PROJECTION,
        Kind.LEVEL,
        Kind.BENCHMARK,
        Kind.NOTCH_WIDTH,
        Kind.NOTCH_DEPTH,
    }
)
ONLY_FOR: dict[str, tuple[frozenset[Kind], str]] = {
    "from": (frozenset({Kind.LINE}), "a line"),
    "height": (frozenset({Kind.PLUMB}), "plumb"),
    **dict.fromkeys(_LEVELLED, (_BY_LEVEL, "a level or a benchmark")),
    **dict.fromkeys(_TAPED, (_BY_TAPE, "what a tape measures")),
}


def read_readings(cursor: Cursor, sketch: Sketch) -> tuple[Reading, ...]:
    """Read all readings; the same one sent twice is one reading."""
    items = cursor.items()
    given = {
        item.value["id"].strip()
        for item in items
        if isinstance(item.value, dict) and isinstance(item.value.get("id"), str)
    }
    read: dict[str, Reading] = {}
    where: dict[str, Cursor] = {}
    unsure: set[str] = set()
    errors = cursor.refusals.errors
    for number, item in enumerate(items, start=1):
        before = len(errors)
        reading = read_entry(item, sketch, _free_id(number, given))
        if len(errors) > before or not sketch.tells(
            _kind(reading.check), reading.check
        ):
            unsure.add(reading.id)
        if reading.id not in read:
            read[reading.id], where[reading.id] = reading, item
        elif reading != read[reading.id]:
            item.at("id").refuse(
                f"The id {reading.id} belongs to another reading, at "
                f"{where[reading.id].pointer}, with other content; a correction is "
                f"a new reading with its own id that supersedes the old."
            )
    readings = tuple(read.values())
    for fault in supersession_faults(readings, unsure):
        where[fault.id].at("supersedes").refuse(fault.message)
    return readings


def _free_id(number: int, given: set[str]) -> str:
    derived = f"reading-{number}"
    while derived in given:
        derived += "-bis"
    return derived


@dataclass(frozen=True, slots=True)
class SupersessionFault:
    """A reading, by its id, that cannot replace what it names, and why."""

    id: str
    message: str


def supersession_faults(
    readings: Sequence[Reading], unsure: Collection[str] = ()
) -> list[SupersessionFault]:
    """Say which readings cannot replace what they name.

    A reading replaces an existing one of the same check; no reading is replaced
    twice, and none replaces itself, directly or in a circle. What the readings in
    `unsure`, by id, are of is not known, for they were refused.
    """
    by_id = {each.id: each for each in readings}
    replaced: dict[str, str] = {}
    faults: list[SupersessionFault] = []
    for each in readings:
        if each.supersedes is None:
            continue
        old = by_id.get(each.supersedes)
        if old is None:
            message = f"There is no reading with the id {each.supersedes}."
        elif old.check != each.check and not {old.id, each.id} & set(unsure):
            message = (
                f"The reading {old.id} is of {old.check}; a reading replaces one of "
                f"the same check, here {each.check}."
            )
        elif old.id in replaced:
            message = (
                f"The reading {old.id} is replaced by {replaced[old.id]} already; "
                f"replace that one instead."
            )
        else:
            replaced[old.id] = each.id
            continue
        faults.append(SupersessionFault(each.id, message))
    return faults + _circles(replaced)


def _circles(replaced: Mapping[str, str]) -> list[SupersessionFault]:
    """Find readings that replace each other in a circle; `replaced` is old to new."""
    faults = []
    settled: set[str] = set()
    for start in replaced:
        path: list[str] = []
        on_path: set[str] = set()
        at: str | None = start
        while at is not None and at not in settled and at not in on_path:
            path.append(at)
            on_path.add(at)
            at = replaced.get(at)
        if at in on_path:
            faults.append(
                SupersessionFault(
                    str(at),
                    "These readings replace each other in a circle; the first of "
                    "them replaces none.",
                )
            )
        settled.update(path)
    return faults


def read_entry(cursor: Cursor, sketch: Sketch, derived_id: str) -> Reading:
    """Read one reading; a stand-in where anything of it was refused."""
    members = cursor.members(_REQUIRED, _OPTIONAL)
    key = members["check"].name(3 * words.LONGEST_NAME) if "check" in members else ""
    check, kind = _find(members.get("check"), key, sketch)
    _refuse_misplaced(members, kind)
    value, text, resolution = _value(members.get("value"), check, kind)
    if kind is Kind.PLUMB and "height" not in members:
        cursor.refuse("A plumb reading needs its “height”: what the lean is over.")

    def optional(name: str, read: Callable[[Cursor], float]) -> float | None:
        return read(members[name]) if name in members else None

    def name_of(name: str, longest: int = words.LONGEST_NAME) -> str | None:
        return members[name].name(longest) if name in members else None

    return Reading(
        id=name_of("id", words.LONGEST_ID) or derived_id,
        check=check.key if check is not None else key,
        value=value,
        text=text,
        resolution=resolution,
        by=name_of("by", 60),
        at=members["at"].time() if "at" in members else None,
        instrument=_instrument(members.get("instrument"), sketch),
        temperature=optional("temperature", lambda c: c.quantity(parse_temperature)),
        tension=optional("tension", lambda c: c.quantity(parse_force, above=0.0)),
        slope_rise=optional("slope_rise", lambda c: _rise(c, value)),
        span=optional("span", lambda c: c.mm(above=0.0)),
        sight=optional("sight", lambda c: c.mm(above=0.0)),
        corner=_from(members.get("from"), check),
        setup=name_of("setup") or "1",
        height=optional("height", lambda c: c.mm(above=0.0)),
        supersedes=name_of("supersedes", words.LONGEST_ID),
        note=members["note"].note(words.LONGEST_NOTE) if "note" in members else "",
    )


STEEPEST = 0.9
"""Rise over taped length that is surely a slip of the pen. Ours."""


def _rise(cursor: Cursor, taped: float) -> float:
    """Read the rise of a length taped on the slope. [mm]"""
    rise = cursor.mm()
    if abs(rise) > STEEPEST * abs(taped) and taped:
        cursor.refuse(
            "A rise is much less than the length taped along it; this one is more "
            "than nine tenths of it."
        )
    return rise


_KINDS = {str(kind): kind for kind in Kind}


def _kind(key: str) -> Kind | None:
    word, colon, _ = key.partition(":")
    return _KINDS.get(word) if colon else None


def _find(
    cursor: Cursor | None, key: str, sketch: Sketch
) -> tuple[Check | None, Kind | None]:
    """Find the check, or what kind it is where the plan may yet have it."""
    if cursor is None or not key:
        return None, None
    kind = _kind(key)
    try:
        check = find_check(sketch.plan, key)
    except UnknownCheckError as error:
        if sketch.tells(kind, key):
            cursor.refuse(str(error))
        return None, kind
    return check, check.kind


def _refuse_misplaced(members: Mapping[str, Cursor], kind: Kind | None) -> None:
    """Refuse members that a check of this kind would pass over in silence."""
    if kind is None:
        return
    for name, (kinds, what) in ONLY_FOR.items():
        if name in members and kind not in kinds:
            members[name].refuse(
                f"“{name}” goes with {what}; a reading of {kind} has none."
            )


def _value(
    cursor: Cursor | None, check: Check | None, kind: Kind | None
) -> tuple[float, str, float]:
    """Read the value, its text and its resolution [mm; MPa for a strength]."""
    if cursor is None:
        return 0.0, "", 0.0
    if kind is Kind.STRENGTH:
        errors = len(cursor.refusals.errors)
        strength = cursor.quantity(parse_strength, above=0.0)
        if len(cursor.refusals.errors) > errors:
            return 0.0, "", 0.0
        return strength, cursor.value.strip(), strength_resolution(cursor.value)
    if kind is None or kind in _SIGNED or _may_be_outside(kind, check):
        length = cursor.length()
    elif kind in _MAY_BE_ZERO:
        length = cursor.length(at_least=0.0)
    else:
        length = cursor.length(above=0.0)
    if length is NO_LENGTH:
        return 0.0, "", 0.0
    return float(length.mm), length.text, float(length.resolution_mm)


def _may_be_outside(kind: Kind, check: Check | None) -> bool:
    """Whether a setback is signed: at a point, or planned on or outside the line."""
    if kind is not Kind.SETBACK:
        return False
    if check is None or not check.corners:
        return True
    return check.nominal is not None and check.nominal <= 0.0


def _instrument(cursor: Cursor | None, sketch: Sketch) -> str | None:
    if cursor is None:
        return None
    name = cursor.name()
    instruments = sketch.plan.instruments
    if sketch.instruments_known and name and name not in instruments:
        known = ", ".join(list(instruments)[:12])
        cursor.refuse(
            f"There is no instrument {name}; "
            + (f"the instruments are {known}." if known else "there are none.")
        )
    return name


def _from(cursor: Cursor | None, check: Check | None) -> str | None:
    """Read the corner a line was measured from."""
    if cursor is None:
        return None
    name = cursor.name()
    if check is not None and check.kind is Kind.LINE and name not in check.corners:
        cursor.refuse(
            f"A reading of {check.key} is taken from one of its wall's corners, "
            f"{' or '.join(check.corners)}."
        )
    return name
