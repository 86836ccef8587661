"""The cases that the JavaScript is tested with are those of the server."""

import json

from tests.javascript.cases import CASES_FILE, build_cases


def test_the_file_of_cases_is_what_the_server_computes() -> None:
    written = json.loads(CASES_FILE.read_text(encoding="utf-8"))
    assert written == build_cases(), "run `python -m tests.javascript`"


def test_the_cases_have_a_verdict_of_either_kind_from_either_corner() -> None:
    verdicts = build_cases()["verdicts"]
    assert {case["verdict"] for case in verdicts} == {"within", "outside"}
    assert any(case["entry"].get("from") == "B" for case in verdicts)
