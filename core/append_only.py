"""Append-only tables: a database trigger refuses to change or delete rows."""

import pgtrigger


def append_only() -> pgtrigger.Trigger:
    """Return a trigger that refuses every update and delete."""
    return pgtrigger.Protect(
        name="append_only", operation=pgtrigger.Update | pgtrigger.Delete
    )
