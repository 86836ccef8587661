"""Helpers for tests that start programs of their own."""

import socket
from pathlib import Path
from urllib.parse import quote, urlencode

from django.db import connection

ROOT = Path(__file__).resolve().parents[2]


def database_url() -> str:
    """Name the test database as the environment of a deployment would."""
    named = {key: str(value or "") for key, value in connection.settings_dict.items()}
    user, password = quote(named["USER"]), quote(named["PASSWORD"])
    if named["HOST"].startswith("/"):
        query = urlencode({"host": named["HOST"]})
        return f"postgres://{user}@/{named['NAME']}?{query}"
    port = named["PORT"] or "5432"
    return f"postgres://{user}:{password}@{named['HOST']}:{port}/{named['NAME']}"


def free_port() -> int:
    """Return a port of this machine that nothing listens on."""
    with socket.create_server(("127.0.0.1", 0)) as probe:
        return int(probe.getsockname()[1])
