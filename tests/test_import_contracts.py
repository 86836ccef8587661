"""Import contracts: every package of the program is in one that is exhaustive."""

import tomllib
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
NOT_PROGRAM = {"tests"}


def _contracts() -> dict[str, Any]:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text())
    return dict(settings["tool"]["importlinter"])


def test_every_top_level_package_is_checked() -> None:
    packages = {path.parent.name for path in ROOT.glob("*/__init__.py")} - NOT_PROGRAM
    assert packages == set(_contracts()["root_packages"])


def test_a_new_module_in_no_layer_fails() -> None:
    exhaustive = {
        container
        for contract in _contracts()["contracts"]
        if contract["type"] == "layers" and contract.get("exhaustive")
        for container in contract.get("containers", ())
    }
    assert exhaustive >= set(_contracts()["root_packages"])


def test_no_contract_ignores_an_import() -> None:
    assert not [
        contract["name"]
        for contract in _contracts()["contracts"]
        if contract.get("ignore_imports")
    ]
