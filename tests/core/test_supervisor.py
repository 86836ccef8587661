"""Programs that run together: all of them, or none."""

import os
import socket
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from core.supervisor import SupervisedProcess, Supervisor, SupervisorError, is_port_free

FOREVER = "import time; print('up', flush=True); time.sleep(600)"
STUBBORN = "import signal; signal.signal(signal.SIGTERM, signal.SIG_IGN);" + FOREVER
PARENT = (
    "import subprocess, sys, time;"
    "child = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(600)']);"
    "print(child.pid, flush=True); time.sleep(600)"
)
DIES = "import sys; print('the reason', flush=True); sys.exit(7)"


def program(name: str, source: str) -> SupervisedProcess:
    return SupervisedProcess(name, [sys.executable, "-c", source])


@pytest.fixture
def together(tmp_path: Path) -> Iterator[Supervisor]:
    supervisor = Supervisor(tmp_path / "logs", os.environ, tmp_path)
    yield supervisor
    supervisor.stop()


def wait_for_output(together: Supervisor, name: str) -> str:
    until = time.monotonic() + 20
    while time.monotonic() < until:
        if text := together.log_path(name).read_text().strip():
            return text
        time.sleep(0.02)
    pytest.fail(f"{name} wrote nothing")


def exists(pid: int) -> bool:
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except FileNotFoundError:
        return False
    return state != "Z"


def test_one_that_dies_is_named_with_the_end_of_its_log(together: Supervisor) -> None:
    together.start([program("first", FOREVER), program("second", DIES)])
    with pytest.raises(SupervisorError, match=r"second stopped \(exit code 7\)") as it:
        together.watch()
    assert "the reason" in str(it.value)
    first = together.running["first"]
    together.stop()
    assert first.poll() is not None


def test_a_child_of_a_child_is_ended_too(together: Supervisor) -> None:
    together.start([program("parent", PARENT)])
    child = int(wait_for_output(together, "parent"))
    assert exists(child)
    together.stop()
    until = time.monotonic() + 5
    while exists(child) and time.monotonic() < until:
        time.sleep(0.02)
    assert not exists(child)


def test_one_that_will_not_listen_is_made_to_end(
    together: Supervisor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("core.supervisor.STOP_TIMEOUT_S", 0.3)
    together.start([program("stubborn", STUBBORN)])
    wait_for_output(together, "stubborn")
    stubborn = together.running["stubborn"]
    together.stop()
    assert stubborn.returncode == -9


def test_an_address_that_never_answers_is_given_up(together: Supervisor) -> None:
    together.start([program("silent", FOREVER)])
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))  # bound but not listening: refuses
        url = f"http://127.0.0.1:{held.getsockname()[1]}/"
        with pytest.raises(SupervisorError, match="did not answer"):
            together.wait_until_answers(url, 0.5)


def test_a_taken_port_is_seen() -> None:
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        held.listen()
        port = held.getsockname()[1]
        assert not is_port_free("127.0.0.1", port)
    assert is_port_free("127.0.0.1", port)
