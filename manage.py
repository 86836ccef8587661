#!/usr/bin/env python3
"""The project's command line."""

import os
import sys


def main() -> None:
    """Run one management command."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "core.settings")
    try:
        from django.core.management import execute_from_command_line
    except ModuleNotFoundError as missing:
        sys.exit(
            f"The module {missing.name!r} is not installed. Run the set-up command in"
            " README.md, which installs what is needed into .venv and starts there."
        )
    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
