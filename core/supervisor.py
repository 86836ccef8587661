"""Keeps a few programs running together: all of them, or none."""

import contextlib
import ctypes
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import FrameType

STOP_TIMEOUT_S = 15
POLL_INTERVAL_S = 0.1
LOG_TAIL_LINES = 25
PR_SET_PDEATHSIG = 1  # linux/prctl.h


class SupervisorError(Exception):
    """What was to run together does not; the message says why."""


@dataclass(frozen=True, slots=True)
class SupervisedProcess:
    """One program to keep running."""

    name: str
    command: Sequence[str]


class Supervisor:
    """Starts programs, notices when one dies, stops them all."""

    def __init__(self, logs: Path, environment: Mapping[str, str], cwd: Path) -> None:
        self.logs = logs
        self.environment = dict(environment)
        self.cwd = cwd
        self.running: dict[str, subprocess.Popen[bytes]] = {}

    def start(self, programs: Sequence[SupervisedProcess]) -> None:
        """Start every program in a session of its own, its output in a log file.

        Away from the terminal's process group a Ctrl-C reaches this process only,
        which then stops the others in their order.
        """
        self.logs.mkdir(parents=True, exist_ok=True)
        for program in programs:
            with self.log_path(program.name).open("wb") as log:
                self.running[program.name] = subprocess.Popen(  # noqa: S603 - ours
                    program.command,
                    stdin=subprocess.DEVNULL,
                    stdout=log,
                    stderr=subprocess.STDOUT,
                    cwd=self.cwd,
                    env=self.environment,
                    start_new_session=True,
                    preexec_fn=_die_with_parent,
                )

    def require_running(self) -> None:
        """Raise if a program has ended by itself.

        Raises
        ------
        SupervisorError
            Naming the program, with the end of its log.
        """
        for name, process in self.running.items():
            code = process.poll()
            if code is not None:
                msg = (
                    f"The {name} ended by itself (code {code}), so everything stops."
                    f" The end of {self.log_path(name)}:\n{self.read_log_tail(name)}"
                )
                raise SupervisorError(msg)

    def wait_until_answers(self, url: str, seconds: float) -> None:
        """Wait until an address answers with a page.

        Raises
        ------
        SupervisorError
            If a program ends meanwhile, or the time is up.
        """
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            self.require_running()
            with (
                contextlib.suppress(urllib.error.URLError, OSError),
                urllib.request.urlopen(url, timeout=5) as answer,  # noqa: S310 - ours
            ):
                if answer.status == 200:
                    return
            time.sleep(POLL_INTERVAL_S)
        name = next(iter(self.running))
        msg = (
            f"{url} did not answer within {seconds:.0f} s. The end of"
            f" {self.log_path(name)}:\n{self.read_log_tail(name)}"
        )
        raise SupervisorError(msg)

    def watch(self) -> None:
        """Stay until a program ends by itself (raises) or a signal comes (raises)."""
        while True:
            self.require_running()
            time.sleep(POLL_INTERVAL_S * 5)

    def stop(self) -> None:
        """End every program: ask, wait, and in the end make it."""
        # A second Ctrl-C must not leave half of them running.
        with _ignore_signals(signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            for process in self.running.values():
                _signal_group(process, signal.SIGTERM)
            until = time.monotonic() + STOP_TIMEOUT_S
            for process in self.running.values():
                with contextlib.suppress(subprocess.TimeoutExpired):
                    process.wait(max(0.1, until - time.monotonic()))
                # Whatever the program had started and not ended itself goes too.
                _signal_group(process, signal.SIGKILL)
                process.wait()
            self.running.clear()

    def log_path(self, name: str) -> Path:
        """Give the file one program's output goes to."""
        return self.logs / f"{name.replace(' ', '-')}.log"

    def read_log_tail(self, name: str) -> str:
        """Give the last lines of a program's log."""
        text = self.log_path(name).read_text(encoding="utf-8", errors="replace")
        return "\n".join(text.splitlines()[-LOG_TAIL_LINES:]) or "(it wrote nothing)"


@contextlib.contextmanager
def exit_on_signals() -> Iterator[None]:
    """Leave the block, and run what cleans up, on SIGTERM and SIGHUP as on Ctrl-C."""

    def leave(number: int, frame: FrameType | None) -> None:
        sys.exit(128 + number)

    numbers = (signal.SIGTERM, signal.SIGHUP)
    before = {number: signal.signal(number, leave) for number in numbers}
    # A program started in the background of a shell has SIGINT ignored.
    before[signal.SIGINT] = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def is_port_free(host: str, port: int) -> bool:
    """Whether a server could listen there now."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError:
            return False
    return True


@contextlib.contextmanager
def _ignore_signals(*numbers: signal.Signals) -> Iterator[None]:
    before = {number: signal.signal(number, signal.SIG_IGN) for number in numbers}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _signal_group(process: "subprocess.Popen[bytes]", number: signal.Signals) -> None:
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(process.pid, number)


def _die_with_parent() -> None:
    """Have Linux end this child if its parent is killed outright."""
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGTERM)
