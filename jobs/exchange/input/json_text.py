"""JSON text to values, with what JSON leaves open refused: a member meant once."""

import json
from collections import Counter
from typing import Any

from jobs.exchange.input.json_reader import (
    DocumentError,
    DocumentIssue,
    IssueCollector,
    join_pointer,
)
from jobs.exchange.vocabulary import MAX_NAME_LENGTH


class _RepeatedMembers(dict[str, Any]):
    """An object that named a member more than once."""

    names: tuple[str, ...] = ()


def load_json(text: str | bytes, refusals: IssueCollector) -> Any:
    """Parse JSON text; a member named twice is refused by its pointer.

    NaN and infinities are parsed as such, to be refused where they stand. Text that
    is not JSON at all raises `DocumentError` at once.
    """
    repeated = False

    def pairs(members: list[tuple[str, Any]]) -> dict[str, Any]:
        nonlocal repeated
        plain = dict(members)
        if len(plain) == len(members):
            return plain
        repeated = True
        flagged = _RepeatedMembers(plain)
        counts = Counter(name for name, _ in members)
        flagged.names = tuple(name for name in counts if counts[name] > 1)
        return flagged

    try:
        if isinstance(text, bytes):
            text = text.decode("utf-8-sig")
        document = json.loads(text, object_pairs_hook=pairs)
    except (RecursionError, ValueError) as fault:
        raise DocumentError([DocumentIssue("", _describe_json_error(fault))]) from None
    if repeated:
        _report_repeated_members(document, refusals)
    return document


def _describe_json_error(fault: Exception) -> str:
    if isinstance(fault, RecursionError):
        return "This is nested too deeply."
    if isinstance(fault, UnicodeDecodeError):
        return f"This is not UTF-8 text, at byte {fault.start}; save it as UTF-8."
    if isinstance(fault, json.JSONDecodeError):
        what = fault.msg.removesuffix(" at")
        where = f"line {fault.lineno}, column {fault.colno}"
        return f"This is not JSON: {what} at {where}."
    return "A number in this document has too many digits."


def _report_repeated_members(document: Any, refusals: IssueCollector) -> None:
    waiting = [("", document)]
    while waiting:
        pointer, value = waiting.pop()
        if isinstance(value, _RepeatedMembers):
            for name in value.names:
                refusals.add(
                    join_pointer(pointer, name),
                    f"The member “{name[:MAX_NAME_LENGTH]}” is there more than once.",
                )
        if isinstance(value, dict):
            waiting.extend(
                (join_pointer(pointer, key), child) for key, child in value.items()
            )
        elif isinstance(value, list):
            waiting.extend(
                (join_pointer(pointer, index), child)
                for index, child in enumerate(value)
            )
