"""Supervision of the demo by a process that is small.

`manage.py demo` prepares the data with all of Django in it, 270 MB, and then becomes
this program: the same process, with the same lock on the data folder, but no Django.
"""

import contextlib
import json
import os
import signal
import sys
import time
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import IO, NoReturn

from core import embedded_postgres
from core.supervisor import (
    SupervisedProcess,
    Supervisor,
    SupervisorError,
    exit_on_signals,
)

START_TIMEOUT_S = 90
PLAN_VARIABLE = "PADSTONE_DEMO_PLAN"
SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoPlan:
    """The processes of a demo, and what to print.

    Attributes
    ----------
    data : str
        The data folder.
    url : str
        Address of the web server.
    processes : sequence of (name, command)
    embedded : bool
        True where the database is the embedded one.
    began : float
        When the command was started, on the monotonic clock. [s]
    lines : sequence of str
        Printed once the web server answers.
    """

    data: str
    url: str
    processes: Sequence[tuple[str, Sequence[str]]]
    embedded: bool
    began: float
    lines: Sequence[str]


def become_supervisor(
    plan: DemoPlan, environment: Mapping[str, str], cwd: Path, lock: IO[str]
) -> NoReturn:
    """Replace this process by one that supervises the demo and keeps the lock."""
    os.set_inheritable(lock.fileno(), True)
    # Blocked until the new program can clean up; a mask outlives the replacement.
    signal.pthread_sigmask(signal.SIG_BLOCK, SIGNALS)
    sys.stdout.flush()
    os.chdir(cwd)
    os.execve(  # noqa: S606 - our own program
        sys.executable,
        [sys.executable, "-m", "core.demo_supervisor"],
        {**environment, PLAN_VARIABLE: json.dumps(asdict(plan))},
    )


def run_demo(plan: DemoPlan) -> None:
    """Run the processes of a demo until one ends or a signal arrives.

    Raises
    ------
    SupervisorError
        If a process fails.
    EmbeddedServerError
        If the database cannot run.
    """
    data = Path(plan.data)
    with exit_on_signals():
        signal.pthread_sigmask(signal.SIG_UNBLOCK, SIGNALS)
        with contextlib.ExitStack() as stack:
            if plan.embedded:
                stack.callback(embedded_postgres.stop_server, data)
                embedded_postgres.start_server(data)
            together = Supervisor(data / "logs", os.environ, Path.cwd())
            stack.callback(together.stop)
            together.start([SupervisedProcess(*each) for each in plan.processes])
            together.wait_until_answers(f"{plan.url}sign-in/", START_TIMEOUT_S)
            report_progress(plan.began, f"Open {plan.url}")
            sys.stdout.write("\n".join([*plan.lines, ""]))
            sys.stdout.flush()
            together.watch()


def report_progress(began: float, text: str) -> None:
    """Print a line with the time since `began` on the monotonic clock."""
    sys.stdout.write(f"{time.monotonic() - began:5.1f} s  {text}\n")
    sys.stdout.flush()


def main() -> None:
    """Run the demo that the environment describes."""
    plan = DemoPlan(**json.loads(os.environ.pop(PLAN_VARIABLE)))
    try:
        run_demo(plan)
    except (embedded_postgres.EmbeddedServerError, SupervisorError) as fault:
        sys.exit(str(fault))
    except KeyboardInterrupt:
        report_progress(plan.began, "Stopped.")


if __name__ == "__main__":
    main()
