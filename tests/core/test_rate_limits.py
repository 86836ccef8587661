"""Rate counters are shared by all processes, in every store."""

import os
import secrets
import shutil
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.cache import caches
from django.db import connection
from django.utils.timezone import now
from redis.exceptions import RedisError

from core import rate_limits
from core.models import RateCounter
from core.supervisor import SupervisedProcess, Supervisor
from core.tasks import delete_expired_counters
from tests.core.servers import ROOT, database_url, free_port

DAY_S = 24 * 3600
PATIENCE_S = 60


def in_redis(location: str) -> dict[str, Any]:
    """Return the caches of a house with this Redis."""
    local = {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}
    redis = {
        "BACKEND": "django.core.cache.backends.redis.RedisCache",
        "LOCATION": location,
    }
    return {"default": local, rate_limits.CACHE_ALIAS: redis}


@pytest.fixture
def redis(tmp_path: Path) -> Iterator[str]:
    """Return the address of a Redis server that keeps nothing."""
    program = shutil.which("redis-server")
    if program is None:
        pytest.skip("no Redis server here: install one")
    socket = tmp_path / "redis.sock"
    command = [program, "--port", "0", "--unixsocket", str(socket), "--save", ""]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, cwd=tmp_path) as server:
        until = time.monotonic() + PATIENCE_S
        while not socket.exists() and time.monotonic() < until:
            time.sleep(0.05)
        yield f"unix://{socket}"
        server.terminate()


def counted_at_once(times: int) -> list[int]:
    """Count so often, eight at a time, each thread with its own connections."""

    def one(_: int) -> int:
        try:
            return rate_limits.hit("password 17", window_s=DAY_S).count
        finally:
            connection.close()
            caches.close_all()

    with ThreadPoolExecutor(8) as together:
        return list(together.map(one, range(times)))


@pytest.mark.django_db(transaction=True)
def test_none_is_lost_in_the_table_where_several_count_at_once() -> None:
    assert sorted(counted_at_once(100)) == list(range(1, 101))
    assert RateCounter.objects.get().count == 100


@pytest.mark.django_db(transaction=True)
def test_none_is_lost_in_redis_where_several_count_at_once(
    redis: str, settings: Any
) -> None:
    settings.CACHES = in_redis(redis)
    assert sorted(counted_at_once(100)) == list(range(1, 101))
    assert not RateCounter.objects.exists()


@pytest.mark.django_db
def test_the_table_counts_while_redis_does_not_answer(settings: Any) -> None:
    settings.CACHES = in_redis(f"redis://127.0.0.1:{free_port()}/0")
    with pytest.raises(RedisError):
        caches[rate_limits.CACHE_ALIAS].get("anything")
    numbers = [rate_limits.hit("a", window_s=DAY_S).count for _ in range(3)]
    assert numbers == [1, 2, 3]
    assert RateCounter.objects.get().count == 3


@pytest.mark.parametrize("kept_in", ["table", "redis"])
@pytest.mark.django_db
def test_each_window_and_each_thing_is_counted_by_itself(
    kept_in: str,
    settings: Any,
    monkeypatch: pytest.MonkeyPatch,
    request: pytest.FixtureRequest,
) -> None:
    if kept_in == "redis":
        settings.CACHES = in_redis(request.getfixturevalue("redis"))
    hour = 3600 * (int(time.time()) // 3600)
    told = []
    for what, second in [("a", 0), ("a", 3599), ("b", 3599), ("a", 3600), ("a", 3601)]:
        monkeypatch.setattr("core.rate_limits.time.time", lambda at=second: hour + at)
        found = rate_limits.hit(what, window_s=3600)
        told.append((found.count, found.resets_in_s))
    assert told == [(1, 3600), (2, 1), (1, 1), (1, 3600), (2, 3599)]


@pytest.mark.django_db
def test_what_was_counted_cannot_be_read_from_the_table() -> None:
    rate_limits.hit("forgotten noor@example.org", window_s=DAY_S)
    kept = RateCounter.objects.get()
    assert len(kept.key) == 64
    assert "noor" not in f"{vars(kept)}"


@pytest.mark.django_db
def test_counts_are_thrown_away_when_their_time_is_over() -> None:
    rate_limits.hit("a", window_s=DAY_S)
    rate_limits.hit("b", window_s=2 * DAY_S)
    first = RateCounter.objects.order_by("key")[0]
    RateCounter.objects.filter(pk=first.pk).update(ends_at=now() - timedelta(seconds=1))
    delete_expired_counters()
    assert RateCounter.objects.count() == 1
    assert not RateCounter.objects.filter(pk=first.pk).exists()


def cache_settings(**environment: str) -> "subprocess.CompletedProcess[str]":
    """Read the settings in a process of its own; print where counts are kept."""
    script = (
        "from core import settings as s; t = s.CACHES.get('rate_limits');"
        "print(t and (t['BACKEND'].split('.')[-1], t['LOCATION'], t['KEY_PREFIX']))"
    )
    unset = ("CACHE_URL", "CELERY_BROKER_URL")
    inherited = {key: value for key, value in os.environ.items() if key not in unset}
    return subprocess.run(
        [sys.executable, "-c", script],
        env={**inherited, **environment},
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.parametrize(
    ("environment", "told"),
    [
        ({}, None),
        ({"CELERY_BROKER_URL": "amqp://broker"}, None),
        (
            {"CELERY_BROKER_URL": "redis://broker:6379/0"},
            ("RedisCache", "redis://broker:6379/0", "padstone"),
        ),
        (
            {
                "CELERY_BROKER_URL": "redis://broker:6379/0",
                "CACHE_URL": "rediss://counts:6379/1?key_prefix=ours",
            },
            ("RedisCache", "rediss://counts:6379/1", "ours"),
        ),
    ],
)
def test_counts_are_kept_in_redis_where_there_is_one(
    environment: dict[str, str], told: tuple[str, ...] | None
) -> None:
    assert cache_settings(**environment).stdout.strip() == str(told)


def test_another_kind_of_cache_is_refused() -> None:
    refused = cache_settings(CACHE_URL="memcache://127.0.0.1:11211")
    assert refused.returncode != 0
    assert "CACHE_URL must name a Redis server" in refused.stderr


def evaluate_status(url: str) -> int:
    """Ask the interface to evaluate nothing; give what it answers."""
    headers = {"Content-Type": "application/json"}
    asked = urllib.request.Request(f"{url}api/v1/evaluate", b"{}", headers)
    try:
        with urllib.request.urlopen(asked, timeout=PATIENCE_S) as answer:
            return int(answer.status)
    except urllib.error.HTTPError as refused:
        with refused:
            return refused.code


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_workers_of_one_server_count_together(tmp_path: Path) -> None:
    port = free_port()
    environment = {
        **os.environ,
        "DATABASE_URL": database_url(),
        "DJANGO_SETTINGS_MODULE": "core.settings",
        "OPEN_EVALUATE": "true",
        "API_EVALUATE_RATE": "7/day",
        "DEBUG": "true",
        # Counts of their own: a Redis that is shared keeps those of the day.
        "SECRET_KEY": secrets.token_hex(32),
    }
    command = [
        sys.executable, "-m", "gunicorn", "core.wsgi:application", "--bind",
        f"127.0.0.1:{port}", "--workers", "3", "--no-control-socket",
    ]  # fmt: skip
    together = Supervisor(tmp_path, environment, ROOT)
    url = f"http://127.0.0.1:{port}/"
    try:
        together.start([SupervisedProcess("web server", command)])
        together.wait_until_answers(f"{url}health/live", PATIENCE_S)
        with ThreadPoolExecutor(6) as at_once:
            answers = list(at_once.map(evaluate_status, [url] * 30))
    finally:
        together.stop()
    assert sorted(answers) == [422] * 7 + [429] * 23
