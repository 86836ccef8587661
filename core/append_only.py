"""Append-only tables: a database trigger refuses to change or delete rows."""

import pgtrigger


def append_only() -> pgtrigger.Trigger:
    """Return a trigger that refuses every update and delete."""
    return pgtrigger.Protect(
        name="append_only", operation=pgtrigger.Update | pgtrigger.Delete
    )


def kept_but_for(column: str) -> list[pgtrigger.Trigger]:
    """Return triggers that refuse every change but the emptying of one column."""
    return [
        pgtrigger.Protect(name="never_deleted", operation=pgtrigger.Delete),
        pgtrigger.Protect(
            name="append_only",
            operation=pgtrigger.Update,
            condition=pgtrigger.AnyChange(exclude=[column]),
        ),
        pgtrigger.Protect(
            name=f"{column}_only_dropped",
            operation=pgtrigger.Update,
            condition=pgtrigger.Q(**{f"new__{column}__isnull": False}),
        ),
    ]
