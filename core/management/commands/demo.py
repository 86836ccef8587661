"""`manage.py demo`: database, web server, worker and scheduler on this machine."""

import contextlib
import fcntl
import hashlib
import os
import secrets
import shutil
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO, Any, NoReturn
from urllib.parse import quote

from django.apps import apps
from django.conf import settings
from django.contrib.staticfiles import finders
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError, connections
from django.utils.module_loading import import_string

from core import embedded_postgres
from core.demo_supervisor import DemoPlan, become_supervisor, report_progress
from core.models import Person
from core.supervisor import exit_on_signals, is_port_free


class Command(BaseCommand):
    """Run the whole program with invented jobs."""

    help = "Run the whole program on this machine, with invented jobs."
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        """Declare the options."""
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument(
            "--host",
            default="127.0.0.1",
            help="Address to listen on (default: %(default)s).",
        )
        parser.add_argument(
            "--fresh", action="store_true", help="Delete the demo's data first."
        )
        parser.add_argument(
            "--yes",
            action="store_true",
            help="Do not ask for confirmation before --fresh.",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Prepare the data, then become the program that runs until a signal."""
        self.began = time.monotonic()
        host, port = options["host"], options["port"]
        data = settings.DATA_DIR
        try:
            with exit_on_signals(), self._lock_data_folder(data) as lock:
                self._require_free_port(host, port)
                if options["fresh"]:
                    self._delete_data(data, sure=options["yes"])
                with self._run_database(data):
                    self._prepare_database()
                    self._serve(data, host, port, lock)
        except embedded_postgres.EmbeddedServerError as fault:
            raise CommandError(str(fault)) from fault
        except KeyboardInterrupt:
            self._report_progress("Stopped.")

    def _report_progress(self, text: str) -> None:
        report_progress(self.began, text)

    @contextlib.contextmanager
    def _lock_data_folder(self, data: Path) -> Iterator[IO[str]]:
        try:
            data.mkdir(parents=True, exist_ok=True)
            lock = (data / "demo.lock").open("w")
        except OSError as fault:
            msg = (
                f"The data folder {data} cannot be written: {fault.strerror}. Give this"
                " account the right to write there, or name another folder in DATA_DIR."
            )
            raise CommandError(msg) from fault
        with lock:
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError as fault:
                msg = (
                    f"A demo is already running in {data}. Stop it first, or name"
                    " another folder in DATA_DIR."
                )
                raise CommandError(msg) from fault
            yield lock

    def _require_free_port(self, host: str, port: int) -> None:
        if is_port_free(host, port):
            return
        others = range(port + 1, min(port + 100, 65536))
        free = next((other for other in others if is_port_free(host, other)), None)
        hint = f", for example: --port {free}" if free else " with --port"
        msg = f"{host}:{port} cannot be used: the port is taken. Choose another{hint}"
        raise CommandError(msg)

    def _delete_data(self, data: Path, *, sure: bool) -> None:
        if os.environ.get("DATABASE_URL"):
            msg = (
                "--fresh deletes only the embedded database. DATABASE_URL names a"
                " server: empty that database yourself."
            )
            raise CommandError(msg)
        if not sure:
            self.stdout.write(f"Everything recorded in {data} will be deleted.")
            try:
                answer = input("Type yes to delete it: ")
            except EOFError:
                answer = ""
            if answer.strip().lower() != "yes":
                msg = "Nothing was deleted. (--yes deletes without asking.)"
                raise CommandError(msg)
        embedded_postgres.remove_database(data)
        for name in ("queue", "media", "logs", "emails", "reports"):
            shutil.rmtree(data / name, ignore_errors=True)

    @contextlib.contextmanager
    def _run_database(self, data: Path) -> Iterator[None]:
        if os.environ.get("DATABASE_URL"):
            yield
            return
        try:
            embedded_postgres.start_server(data)
            self._report_progress("PostgreSQL started.")
            yield
        finally:
            connections.close_all()
            embedded_postgres.stop_server(data)

    def _prepare_database(self) -> None:
        try:
            call_command("migrate", interactive=False, verbosity=0)
        except DatabaseError as fault:
            msg = f"The database cannot be prepared: {fault}"
            raise CommandError(msg) from fault
        self._report_progress("Database migrated.")
        if not Person.objects.exists():
            try:
                load = import_string(f"{settings.DEMO}.load")
            except ImportError as fault:
                self._report_progress(f"No demo data loaded: {fault}.")
            else:
                load()
                for also in _list_app_loaders():
                    also()
                self._report_progress("Demo data loaded.")
        connections.close_all()
        self._collect_static()

    def _collect_static(self) -> None:
        mark = settings.STATIC_ROOT / ".fingerprint"
        now = _hash_static_files()
        if mark.exists() and mark.read_text() == now:
            return
        call_command("collectstatic", interactive=False, verbosity=0)
        mark.write_text(now)
        self._report_progress("Static files collected.")

    def _serve(self, data: Path, host: str, port: int, lock: IO[str]) -> NoReturn:
        # Browsers support no passkeys on an IP address, so print the name.
        own = ("127.0.0.1", "0.0.0.0", "::", "::1")  # noqa: S104 - compared
        shown = f"[{host}]" if ":" in host else host
        url = f"http://{'localhost' if host in own else shown}:{port}/"
        environment = {
            "OPEN_EVALUATE": "true",  # visitors may use the evaluation of the demo
            "PUBLIC_URL": url,
            "EMAIL_URL": f"filemail:///{quote(str(data / 'emails'))}",
            # Webhooks may call this machine while only this machine has access.
            "WEBHOOKS_LOCAL": str(host in ("127.0.0.1", "::1", "localhost")),
            **os.environ,
            "DJANGO_SETTINGS_MODULE": "core.settings",
            "SECRET_KEY": os.environ.get("SECRET_KEY") or _load_secret_key(data),
            "ALLOWED_HOSTS": ",".join({*settings.ALLOWED_HOSTS, host}),
            "PYTHONUNBUFFERED": "1",
        }
        lines = _list_sign_ins()
        if "EMAIL_URL" not in os.environ:
            lines.append(f"E-mail is written to {data / 'emails'}.")
        lines.append(f"Logs are in {data / 'logs'}. Ctrl-C stops everything.")
        connections.close_all()
        plan = DemoPlan(
            data=str(data),
            url=url,
            processes=_list_processes(host, port),
            embedded=not os.environ.get("DATABASE_URL"),
            began=self.began,
            lines=lines,
        )
        become_supervisor(plan, environment, settings.BASE_DIR, lock)


def _list_sign_ins() -> list[str]:
    """List the accounts of the demo data; none where there is other data."""
    try:
        sign_ins = import_string(f"{settings.DEMO}.SIGN_INS")
    except ImportError:
        return []
    if not Person.objects.filter(username=sign_ins[0][0]).exists():
        return []
    rows = (f"  {name:<12} {password:<24} {who}" for name, password, who in sign_ins)
    return ["", "Sign in as:", *rows, ""]


def _list_app_loaders() -> Iterator[Callable[[], None]]:
    """Generate the loaders declared in `AppConfig.demo`, which run after the jobs."""
    for config in apps.get_app_configs():
        if name := getattr(config, "demo", ""):
            yield import_string(name)


def _list_processes(host: str, port: int) -> list[tuple[str, list[str]]]:
    python = sys.executable
    bind = f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
    celery = [python, "-m", "celery", "-A", "core.celery"]
    return [
        (
            "web server",
            [
                python, "-m", "gunicorn", "core.wsgi:application", "--bind", bind,
                "--worker-class", "gthread", "--threads", "8", "--timeout", "60",
                "--graceful-timeout", "5", "--no-control-socket",
            ],
        ),
        (
            "worker",
            [
                *celery, "worker", "--pool", "threads", "--concurrency", "2",
                "--without-gossip", "--without-mingle", "--without-heartbeat",
                "--loglevel", "INFO",
            ],
        ),
        (
            "scheduler", [*celery, "beat", "--pidfile", "", "--loglevel", "INFO"]
        ),
    ]  # fmt: skip


def _load_secret_key(data: Path) -> str:
    """Load the random key of the data folder, so that people stay signed in."""
    path = data / "secret_key"
    if not path.exists():
        path.touch(mode=0o600)
        path.write_text(secrets.token_urlsafe(60))
    return path.read_text()


def _hash_static_files() -> str:
    """Hash names, sizes and times of all static files."""
    seen = hashlib.sha256(settings.STORAGES["staticfiles"]["BACKEND"].encode())
    for finder in finders.get_finders():
        for path, storage in finder.list([]):
            stat = Path(storage.path(path)).stat()
            seen.update(f"{path} {stat.st_size} {stat.st_mtime_ns}\n".encode())
    return seen.hexdigest()
