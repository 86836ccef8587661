"""The supplement of a result: members computed after it, and merged into it."""

from typing import Any, cast

from jobs.exchange.result.document import ResultDocument

Supplement = dict[str, Any]


def merge_supplement(result: ResultDocument, supplement: Supplement) -> ResultDocument:
    """Return a result with the members of its supplement; neither is changed.

    Members of an object are merged into the result's own; others replace them.
    """
    merged: dict[str, Any] = dict(result)
    for name, members in supplement.items():
        own = merged.get(name)
        if isinstance(own, dict) and isinstance(members, dict):
            merged[name] = {**own, **members}
        else:
            merged[name] = members
    return cast("ResultDocument", merged)
