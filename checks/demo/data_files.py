"""The data files of the demo."""

import json
import tomllib
from pathlib import Path
from typing import Any

DATA = Path(__file__).with_name("data")


def read_table(name: str) -> dict[str, Any]:
    """Read one of the TOML files."""
    return tomllib.loads((DATA / f"{name}.toml").read_text(encoding="utf-8"))


def read_plan(name: str) -> dict[str, Any]:
    """Read an anchor plan, an exchange document without name and instruments."""
    text = (DATA / "plans" / f"{name}.json").read_text(encoding="utf-8")
    plan: dict[str, Any] = json.loads(text)
    return plan
