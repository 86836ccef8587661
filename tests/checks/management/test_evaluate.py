"""`manage.py evaluate`, held to the sentences of the exchange document.

Streams, exit codes, order, keys, lengths, refusals with their pointers, schemas.
"""

import io
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from tests.published.contract import INCH, building, check, evaluate_document, read

ROOT = Path(__file__).parents[3]


def run(
    argument: str, document: bytes | None = None, **environment: str
) -> subprocess.CompletedProcess[bytes]:
    """The program as it is started from a shell, with nothing of Django in its room."""
    return subprocess.run(
        [sys.executable, "manage.py", "evaluate", argument],
        input=document,
        capture_output=True,
        cwd=ROOT,
        env={"PATH": "/usr/bin:/bin", "LANG": "C"} | environment,
        timeout=60,
        check=False,
    )


# ---- streams and exit codes ---------------------------------------------------


def test_a_document_on_standard_input_is_answered_on_standard_output() -> None:
    document = read(building(name="Étang 5 \u2013 ½"), "wall:A-B", "24 m")
    done = run("-", json.dumps(document, ensure_ascii=False).encode())
    assert (done.returncode, done.stderr) == (0, b"")
    result = json.loads(done.stdout)
    assert result["building"] == "Étang 5 \u2013 ½"
    assert result == evaluate_document(document)


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "utf-16"])
def test_json_is_written_in_utf_8_whatever_the_terminal_has(encoding: str) -> None:
    document = building(name="Étang \u2013 \U0001d7d9")
    text = json.dumps(document, ensure_ascii=False).encode()
    done = run("-", text, PYTHONIOENCODING=encoding)
    assert (done.returncode, done.stderr) == (0, b"")
    assert json.loads(done.stdout.decode())["building"] == document["name"]
    refused = run("-", text.replace(b'"mm"', '"\U0001d7d9"'.encode()))
    assert refused.returncode == 2
    told = json.loads(refused.stderr.decode())["errors"]
    assert "\U0001d7d9" in told[0]["message"]


def test_a_closed_standard_input_is_refused_like_an_unreadable_file() -> None:
    done = subprocess.run(
        ["/bin/sh", "-c", f"exec {sys.executable} manage.py evaluate - <&-"],
        capture_output=True,
        cwd=ROOT,
        timeout=60,
        check=False,
    )
    assert (done.returncode, done.stdout) == (2, b"")
    assert len(json.loads(done.stderr)["errors"]) == 1


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a full device")
def test_a_result_that_cannot_be_written_is_told_in_a_line() -> None:
    with open("/dev/full", "wb") as full:
        done = subprocess.run(
            [sys.executable, "manage.py", "evaluate", "-"],
            input=json.dumps(building()).encode(),
            stdout=full,
            stderr=subprocess.PIPE,
            cwd=ROOT,
            timeout=60,
            check=False,
        )
    assert done.returncode == 1
    assert len(done.stderr.splitlines()) == 1
    assert b"cannot be written" in done.stderr


def test_a_refused_document_leaves_standard_output_empty() -> None:
    document = building()
    document["positions"][3]["detail"] = "Z"
    done = run("-", json.dumps(document).encode())
    assert (done.returncode, done.stdout) == (2, b"")
    told = json.loads(done.stderr)
    assert list(told) == ["errors"]
    (error,) = told["errors"]
    assert error["pointer"] == "/positions/3/detail"
    assert set(error) == {"pointer", "message"}


@pytest.fixture
def answer(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> Any:
    """Run the command in this process: exit code, standard output, standard error."""

    def run_here(text: bytes, name: str = "b.json") -> tuple[int, str, str]:
        file = tmp_path / name
        file.write_bytes(text)
        try:
            call_command("evaluate", str(file))
        except SystemExit as stopped:
            return (int(str(stopped.code)), *capsys.readouterr())
        return (0, *capsys.readouterr())

    return run_here


@pytest.mark.parametrize(
    "text",
    [b"", b"{", b"[]", b"null", b"\xff\xfe", b'"x"', b"[" * 100_000, b"1" * 5000],
    ids=["empty", "cut", "list", "null", "not utf-8", "text", "deep", "long number"],
)
def test_what_is_no_document_is_refused_as_one_json_object(
    text: bytes, answer: Any
) -> None:
    code, out, err = answer(text)
    assert (code, out) == (2, "")
    assert [e["pointer"] for e in json.loads(err)["errors"]] == [""]


def test_a_file_that_is_not_there_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stopped:
        call_command("evaluate", str(tmp_path / "none.json"))
    out, err = capsys.readouterr()
    assert (stopped.value.code, out) == (2, "")
    assert len(json.loads(err)["errors"]) == 1


def test_bad_verdicts_are_still_exit_code_zero(answer: Any) -> None:
    document = read(building(), "wall:A-B", "23 m")
    code, out, err = answer(json.dumps(document).encode())
    assert (code, err) == (0, "")
    assert check(json.loads(out), "wall:A-B")["verdict"] == "outside"


def test_standard_input_is_read_as_bytes(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    text = json.dumps(building()).encode("utf-8-sig")
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(text)))
    call_command("evaluate", "-")
    assert json.loads(capsys.readouterr().out)["format"] == "padstone.result/1"


# ---- the result's frame ---------------------------------------------------------


def test_the_result_has_the_members_the_document_promises() -> None:
    result = evaluate_document(building())
    assert list(result)[:5] == [
        "format",
        "building",
        "evaluated_with",
        "tolerances",
        "checks",
    ]
    assert {"squareness", "positions", "levels", "concrete", "findings"} <= set(result)
    assert result["format"] == "padstone.result/1"
    assert result["evaluated_with"].startswith("padstone ")
    assert result["tolerances"]["basis"] == "metal-building-practice"


def test_order_follows_the_document() -> None:
    document = building(diagonals=[["B", "D"], ["A", "C"]])
    document["positions"].reverse()
    result = evaluate_document(document)
    marks = ["W", "N", "E", "S"]
    keys = [each["check"] for each in result["checks"]]
    assert keys[:2] == ["diagonal:B-D", "diagonal:A-C"]
    assert keys[2:6] == ["wall:A-B", "wall:B-C", "wall:C-D", "wall:D-A"]
    assert [key for key in keys if key.startswith("line:")] == [
        f"line:{mark}" for mark in marks
    ]
    assert [each["mark"] for each in result["positions"]] == marks
    assert [each["mark"] for each in result["levels"]["pads"]] == marks
    for each in result["positions"]:
        assert [rod["rod"] for rod in each["rods"]] == [1, 2, 3, 4]


def test_numbers_are_not_rounded() -> None:
    document = read(building(), "diagonal:A-C", "92' 10 5/64\"")
    observed = check(evaluate_document(document), "diagonal:A-C")["observed"]
    assert observed == pytest.approx((92 * 12 + 10 + 5 / 64) * INCH, abs=1e-9)
