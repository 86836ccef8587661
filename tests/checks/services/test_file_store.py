"""Stored files: the same on a folder and on a server of the S3 protocol."""

import hashlib
from collections.abc import Iterator
from pathlib import Path
from threading import Barrier, Thread
from typing import Any
from uuid import uuid4

import boto3
import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.test import Client
from moto.server import ThreadedMotoServer

from checks.services.file_store import (
    CHUNK_SIZE,
    FileStoreError,
    load_file,
    name_for,
    store_file,
    stream_file,
)
from checks.services.photographs import add_photograph
from core.models import Person
from jobs.models import Building
from tests.images import photo

BUCKET = "records"
LARGE = b"several parts" * (CHUNK_SIZE // 5)
KEYS = {"access_key": "invented", "secret_key": "invented"}


@pytest.fixture(scope="module")
def s3_server() -> Iterator[str]:
    """Start a server of the S3 protocol on this machine; return its address."""
    server = ThreadedMotoServer("127.0.0.1", 0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    yield f"http://{host}:{port}"
    server.stop()


@pytest.fixture(params=["folder", "s3"])
def store(request: Any, settings: Any, tmp_path: Path) -> str:
    """Choose a storage, empty, as the settings do."""
    if request.param == "folder":
        settings.MEDIA_ROOT = tmp_path
        return "folder"
    address = request.getfixturevalue("s3_server")
    client = boto3.client(
        "s3",
        endpoint_url=address,
        region_name="us-east-1",
        aws_access_key_id=KEYS["access_key"],
        aws_secret_access_key=KEYS["secret_key"],
    )
    bucket = f"{BUCKET}-{tmp_path.name.replace('_', '-')}"[:60].strip("-").lower()
    client.create_bucket(Bucket=bucket)
    options = {
        "bucket_name": bucket,
        "endpoint_url": address,
        "region_name": "us-east-1",
        "max_memory_size": 5_000_000,
        **KEYS,
    }
    backend = "core.object_storage.ObjectStorage"
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {"BACKEND": backend, "OPTIONS": options},
    }
    return "s3"


def overwrite(digest: str, content: bytes, store: str) -> None:
    """Damage a stored file behind the program's back."""
    if store == "s3":
        default_storage.bucket.Object(name_for(digest)).put(Body=content)
    else:
        path = Path(default_storage.path(name_for(digest)))
        path.chmod(0o600)
        path.write_bytes(content)


@pytest.mark.parametrize("content", [b"one", LARGE])
def test_a_file_comes_back_as_it_was_stored(store: str, content: bytes) -> None:
    digest = store_file(content)
    assert digest == hashlib.sha256(content).hexdigest()
    assert load_file(digest) == content
    stream = stream_file(digest)
    parts = list(stream.chunks)
    assert (b"".join(parts), stream.size) == (content, len(content))
    assert max(map(len, parts)) <= CHUNK_SIZE


def test_a_stored_file_is_never_overwritten(store: str) -> None:
    digest = store_file(b"one")
    overwrite(digest, b"two", store)
    store_file(b"one")
    # Not even where two machines find the name free at once.
    default_storage.save(name_for(digest), ContentFile(b"one"))
    with default_storage.open(name_for(digest)) as file:
        assert file.read() == b"two"
    with pytest.raises(FileStoreError, match="is damaged"):
        load_file(digest)


def test_a_damaged_file_is_never_sent_whole(store: str) -> None:
    small, large = store_file(b"one"), store_file(LARGE)
    overwrite(small, b"two", store)
    overwrite(large, LARGE[:-1] + b"?", store)
    with pytest.raises(FileStoreError, match="is damaged"):
        stream_file(small)
    arrived: list[bytes] = []
    with pytest.raises(FileStoreError, match="is damaged"):
        arrived.extend(stream_file(large).chunks)
    assert sum(map(len, arrived)) < len(LARGE)


def test_a_missing_file_is_named(store: str) -> None:
    digest = hashlib.sha256(b"never stored").hexdigest()
    for read in (load_file, stream_file):
        with pytest.raises(FileStoreError, match=f"{digest} is missing"):
            read(digest)


def test_many_that_store_one_file_at_once_store_one(store: str) -> None:
    start = Barrier(4)
    digests: list[str] = []

    def send() -> None:
        start.wait()
        digests.append(store_file(LARGE))

    threads = [Thread(target=send) for _ in range(4)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    assert len(set(digests)) == 1
    assert len(digests) == 4
    assert load_file(digests[0]) == LARGE


@pytest.mark.django_db
def test_a_photograph_is_served_to_those_who_may_see_it(
    store: str,
    building: Building,
    field_lead: Person,
    stranger: Person,
    client: Client,
) -> None:
    added = add_photograph(
        actor=field_lead, building=building, client_id=uuid4(), content=photo()
    )
    address = added.photograph.get_absolute_url()
    client.force_login(field_lead)
    answer = client.get(address)
    assert b"".join(answer.streaming_content) == load_file(added.photograph.digest)
    assert int(answer["Content-Length"]) == added.photograph.size
    client.force_login(stranger)
    assert client.get(address).status_code == 404
