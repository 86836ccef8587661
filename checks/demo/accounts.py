"""The people of the demo, read from `data/accounts.toml`."""

from typing import NamedTuple

from checks.demo.data_files import read_table


class DemoSignIn(NamedTuple):
    """An account that `manage.py demo` prints, so that somebody can sign in."""

    username: str
    password: str
    description: str


class DemoAccount(NamedTuple):
    """One invented person; the password protects nothing."""

    username: str
    first_name: str
    last_name: str
    role: str
    password: str


class DemoInvitation(NamedTuple):
    """An invitation; with a username it was accepted."""

    address: str
    role: str
    username: str = ""
    first_name: str = ""
    last_name: str = ""


# Read at import: `manage.py demo` prints the accounts without loading the demo.
_TABLE = read_table("accounts")

ACCOUNTS: tuple[DemoAccount, ...] = tuple(
    DemoAccount(**row) for row in _TABLE["accounts"]
)
ACCEPTED_INVITATION = DemoInvitation(**_TABLE["invitations"]["accepted"])
OPEN_INVITATION = DemoInvitation(**_TABLE["invitations"]["open"])
SIGN_INS: tuple[DemoSignIn, ...] = tuple(
    DemoSignIn(
        account.username,
        account.password,
        _TABLE["role_descriptions"][account.role],
    )
    for account in ACCOUNTS
)
