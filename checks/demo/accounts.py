"""Who works in the demo: invented people; their passwords guard nothing."""

from typing import NamedTuple


class DemoSignIn(NamedTuple):
    """What `manage.py demo` prints so that somebody can look round."""

    username: str
    password: str
    description: str


ACCOUNTS: tuple[tuple[str, str, str, str, str], ...] = (
    ("odalys", "Odalys", "Merrin", "operations", "stack-the-shims-41"),
    ("tamsin", "Tamsin", "Quillfeather", "field", "zero-at-the-corner-7"),
    ("borja", "Borja", "Fennimark", "field", "hold-the-rod-plumb-3"),
    ("ysolde", "Ysolde", "Karrow", "engineer", "edge-distance-first-9"),
    ("emeric", "Emeric", "Vantongue", "engineer", "no-slot-unasked-12"),
    ("pell", "Pell", "Arrowood", "administrator", "keys-to-the-house-5"),
)
"""Username, first and last name, role, password."""

ROLE_DESCRIPTIONS = {
    "operations": "operations manager: what can ship, signs releases",
    "field": "field lead: measures and uploads",
    "engineer": "engineer: decides on findings",
    "administrator": "administrator: accounts",
}

SIGN_INS: tuple[DemoSignIn, ...] = tuple(
    DemoSignIn(username, password, ROLE_DESCRIPTIONS[role])
    for username, _, _, role, password in ACCOUNTS
)
