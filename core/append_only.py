"""Evidence is never edited: the database itself refuses to change or delete it."""

import pgtrigger


def append_only() -> pgtrigger.Trigger:
    """Refuse every update and delete of a table's rows."""
    return pgtrigger.Protect(
        name="append_only", operation=pgtrigger.Update | pgtrigger.Delete
    )
