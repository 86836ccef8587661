#!/usr/bin/env python3
"""Command line of the project."""

import contextlib
import os
import sys

# Commands that need no database; any other command starts the embedded one.
COMMANDS_WITHOUT_DATABASE = {
    "check", "collectstatic", "compilemessages", "demo", "diffsettings", "evaluate",
    "findstatic", "help", "makemessages", "spectacular", "startapp", "startproject",
    "version",
}  # fmt: skip


def needs_database(arguments: list[str]) -> bool:
    """Return whether a command needs the database."""
    if not arguments or {"-h", "--help", "--version"} & set(arguments):
        return False
    return arguments[0] not in COMMANDS_WITHOUT_DATABASE


def main() -> None:
    """Run one management command, with the embedded database if it needs one."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "core.settings")
    try:
        from django.conf import settings
        from django.core.management import execute_from_command_line

        from core import embedded_postgres
    except ModuleNotFoundError as missing:
        sys.exit(
            f"The module {missing.name!r} is not installed. Run the set-up command in"
            " README.md, which installs all requirements into .venv."
        )
    with contextlib.ExitStack() as stack:
        if needs_database(sys.argv[1:]) and not os.environ.get("DATABASE_URL"):
            try:
                stack.enter_context(embedded_postgres.run_server(settings.DATA_DIR))
            except embedded_postgres.EmbeddedServerError as fault:
                sys.exit(str(fault))
        execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
