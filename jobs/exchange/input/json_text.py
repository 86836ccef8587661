"""Strict loading of JSON text: repeated members, NaN and deep nesting are refused."""

import json
from collections import Counter
from typing import Any

from jobs.exchange.issues import (
    DocumentError,
    DocumentIssue,
    IssueCode,
    IssueCollector,
    join_pointer,
)
from jobs.exchange.vocabulary import MAX_NAME_LENGTH


class _RepeatedMembers(dict[str, Any]):
    """An object with a member that appears more than once."""

    names: tuple[str, ...] = ()


def load_json(text: str | bytes, collector: IssueCollector) -> Any:
    """Load JSON text; a member that appears twice is an issue at its pointer.

    NaN and infinities are loaded as such, to become issues where they are. Text that
    is no JSON at all raises `DocumentError` at once.
    """
    repeated = False

    def build_object(members: list[tuple[str, Any]]) -> dict[str, Any]:
        nonlocal repeated
        plain = dict(members)
        # JSON leaves open which of two equal names counts: a record must not depend on
        # it.
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
        document = json.loads(text, object_pairs_hook=build_object)
    except (RecursionError, ValueError) as error:
        message = _describe_json_error(error)
        issue = DocumentIssue("", message, IssueCode.UNREADABLE)
        raise DocumentError([issue]) from None
    if repeated:
        _report_repeated_members(document, collector)
    return document


def _describe_json_error(error: Exception) -> str:
    if isinstance(error, RecursionError):
        return "This is nested too deeply."
    if isinstance(error, UnicodeDecodeError):
        return f"This is not UTF-8 text, at byte {error.start}; save it as UTF-8."
    if isinstance(error, json.JSONDecodeError):
        what = error.msg.removesuffix(" at")
        where = f"line {error.lineno}, column {error.colno}"
        return f"This is not JSON: {what} at {where}."
    return "A number in this document has too many digits."


def _report_repeated_members(document: Any, collector: IssueCollector) -> None:
    # A stack, not recursion: the document may be nested as deep as JSON loading allows.
    waiting = [("", document)]
    while waiting:
        pointer, value = waiting.pop()
        if isinstance(value, _RepeatedMembers):
            for name in value.names:
                collector.add(
                    join_pointer(pointer, name),
                    f"The field “{name[:MAX_NAME_LENGTH]}” appears more than once.",
                    IssueCode.DUPLICATE,
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
