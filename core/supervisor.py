"""Supervision of a few processes: all of them run, or none."""

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
    """A supervised process failed; the message says why."""


@dataclass(frozen=True, slots=True)
class SupervisedProcess:
    """A process to keep running."""

    name: str
    command: Sequence[str]


class Supervisor:
    """Starts processes, detects when one ends, and stops them all."""

    def __init__(self, logs: Path, environment: Mapping[str, str], cwd: Path) -> None:
        self.logs = logs
        self.environment = dict(environment)
        self.cwd = cwd
        self.running: dict[str, subprocess.Popen[bytes]] = {}

    def start(self, programs: Sequence[SupervisedProcess]) -> None:
        """Start every process in its own session, with its output in a log file.

        Outside the terminal's process group a Ctrl-C reaches only the supervisor, which
        then stops the others in order.
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
        """Raise if a process has ended by itself.

        Raises
        ------
        SupervisorError
            Names the process, with the end of its log.
        """
        for name, process in self.running.items():
            code = process.poll()
            if code is not None:
                msg = (
                    f"The {name} stopped (exit code {code}), so everything stops."
                    f" The end of {self.log_path(name)}:\n{self.read_log_tail(name)}"
                )
                raise SupervisorError(msg)

    def wait_until_answers(self, url: str, seconds: float) -> None:
        """Wait until an address answers with status 200.

        Raises
        ------
        SupervisorError
            If a process ends meanwhile, or on timeout.
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
        """Wait until a process ends or a signal arrives; both raise."""
        while True:
            self.require_running()
            time.sleep(POLL_INTERVAL_S * 5)

    def stop(self) -> None:
        """Stop every process: SIGTERM, wait, then SIGKILL."""
        # A second Ctrl-C must not leave some of them running.
        with _ignore_signals(signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            for process in self.running.values():
                _signal_group(process, signal.SIGTERM)
            until = time.monotonic() + STOP_TIMEOUT_S
            for process in self.running.values():
                with contextlib.suppress(subprocess.TimeoutExpired):
                    process.wait(max(0.1, until - time.monotonic()))
                # Children that the process started and did not stop end too.
                _signal_group(process, signal.SIGKILL)
                process.wait()
            self.running.clear()

    def log_path(self, name: str) -> Path:
        """Return the log file of a process."""
        return self.logs / f"{name.replace(' ', '-')}.log"

    def read_log_tail(self, name: str) -> str:
        """Return the last lines of a process's log."""
        text = self.log_path(name).read_text(encoding="utf-8", errors="replace")
        return "\n".join(text.splitlines()[-LOG_TAIL_LINES:]) or "(no output)"


@contextlib.contextmanager
def exit_on_signals() -> Iterator[None]:
    """Exit the block with its clean-up on SIGTERM and SIGHUP, as on Ctrl-C."""

    def leave(number: int, frame: FrameType | None) -> None:
        sys.exit(128 + number)

    numbers = (signal.SIGTERM, signal.SIGHUP)
    before = {number: signal.signal(number, leave) for number in numbers}
    # A shell ignores SIGINT for a process that it starts in the background.
    before[signal.SIGINT] = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def is_port_free(host: str, port: int) -> bool:
    """Return whether a server can listen on this address now."""
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
    """Ask Linux to end this child if its parent is killed."""
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGTERM)
