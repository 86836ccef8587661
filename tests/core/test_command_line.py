"""Which commands start the database, and that the demo comes up and goes cleanly."""

import os
import re
import resource
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from manage import needs_database

ROOT = Path(__file__).resolve().parents[2]
MAX_SUPERVISOR_BYTES = 80_000_000
MANAGE = [sys.executable, str(ROOT / "manage.py")]


@pytest.mark.parametrize(
    "line",
    ["", "--help", "help", "evaluate f.json", "migrate --help", "demo", "check"],
)
def test_these_do_without_the_database(line: str) -> None:
    assert not needs_database(line.split())


@pytest.mark.parametrize("line", ["migrate", "shell", "import_plan f.json", "report 3"])
def test_these_find_it_running(line: str) -> None:
    assert needs_database(line.split())


@pytest.fixture
def port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        number: int = probe.getsockname()[1]
        return number


@pytest.fixture
def demo(tmp_path: Path, port: int) -> Iterator["subprocess.Popen[str]"]:
    """Start a demo in folders of its own, on the embedded database."""
    names = {"DATABASE_URL", "CELERY_BROKER_URL", "DJANGO_SETTINGS_MODULE"}
    environment = {k: v for k, v in os.environ.items() if k not in names}
    environment |= {
        "DATA_DIR": str(tmp_path / "data"),
        "STATIC_ROOT": str(tmp_path / "static"),
    }
    process = subprocess.Popen(
        [*MANAGE, "demo", "--port", str(port)],
        env=environment,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    yield process
    if process.poll() is None:
        process.terminate()
        process.wait(30)
    if process.stdout:
        process.stdout.close()


def read_until(process: "subprocess.Popen[str]", pattern: str) -> str:
    assert process.stdout
    seen = ""
    for line in process.stdout:
        seen += line
        if re.search(pattern, line):
            return seen
    pytest.fail(f"It ended without saying {pattern!r}:\n{seen}")


def resident_bytes(pid: int) -> int:
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * resource.getpagesize()


def processes_naming(text: str) -> list[int]:
    found = []
    for entry in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            if text.encode() in entry.read_bytes():
                found.append(int(entry.parent.name))
        except OSError:
            continue
    return found


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self").exists(), reason="looks into /proc")
def test_the_demo_comes_up_answers_and_leaves_nothing_behind(
    demo: "subprocess.Popen[str]", port: int, tmp_path: Path
) -> None:
    read_until(demo, r"Ctrl-C stops")
    url = f"http://127.0.0.1:{port}"
    with urllib.request.urlopen(f"{url}/sign-in/", timeout=10) as page:
        text = page.read().decode()
    style = re.search(r'href="(/static/core/base\.\w+\.css)"', text)
    assert style, "the look is not served by its hashed name"
    with urllib.request.urlopen(url + style[1], timeout=10) as look:
        assert look.status == 200

    assert resident_bytes(demo.pid) < MAX_SUPERVISOR_BYTES

    # A second one out of the same folder, or at the same port, is told why not.
    for data, complaint in [
        ("data", "already running"),
        ("other", "the port is taken"),
    ]:
        second = subprocess.run(
            [*MANAGE, "demo", "--port", str(port)],
            env={**os.environ, "DATA_DIR": str(tmp_path / data)},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            check=False,
            timeout=30,
        )
        assert second.returncode == 1
        assert complaint in second.stderr

    # Give the worker and the scheduler the time to be up, so that they too are stopped.
    until = time.monotonic() + 15
    log = tmp_path / "data" / "logs" / "worker.log"
    while "ready" not in log.read_text() and time.monotonic() < until:
        time.sleep(0.1)
    assert processes_naming(str(tmp_path))
    demo.send_signal(signal.SIGINT)
    assert demo.wait(30) == 0
    assert processes_naming(str(tmp_path)) == []
    with socket.socket() as probe:
        assert probe.connect_ex(("127.0.0.1", port)) != 0


def test_starting_over_without_an_answer_throws_nothing_away(tmp_path: Path) -> None:
    kept = tmp_path / "queue" / "message"
    kept.parent.mkdir()
    kept.write_text("kept")
    environment = {k: v for k, v in os.environ.items() if k != "DATABASE_URL"}
    answer = subprocess.run(
        [*MANAGE, "demo", "--fresh", "--port", "0"],
        env={**environment, "DATA_DIR": str(tmp_path)},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
        timeout=30,
    )
    assert answer.returncode == 1
    assert "Nothing was deleted" in answer.stderr
    assert kept.exists()
