"""Times and people as a report writes them."""

from collections.abc import Mapping
from datetime import UTC, datetime

from core.formatting import EM_DASH, format_time


def format_utc_time(at: datetime | str | None) -> str:
    """Write a time as 9 Mar 2026, 14:05 UTC.

    Paper has no reader's time zone, and the same record must print the same page
    wherever the program runs.
    """
    if not at:
        return EM_DASH
    when = datetime.fromisoformat(at) if isinstance(at, str) else at
    return f"{format_time(when.astimezone(UTC))} UTC"


def format_person(person: Mapping[str, str]) -> str:
    """Write a name as the record has it, with the account: people share names."""
    name, account = person["name"], person["username"]
    return name if name == account else f"{name} ({account})"
