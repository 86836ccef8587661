"""Objects of a PDF, packed: another reader sees the same file."""

import re
import shutil
import subprocess
import zlib
from datetime import UTC, datetime
from pathlib import Path

import pytest
import typst

from checks.reports.pdf_packing import PackingError, pack_pdf

SOURCE = """
#set document(title: "Larch yard shed", date: auto)
#pdf.attach("record.json", read("record.json", encoding: none), relationship: "data",
  mime-type: "application/json", description: "A record.")
= Rods
#table(columns: 4, table.header([Mark], [Wall], [Along], [In]),
  ..range(1200).map(n => [Cell #n]))
"""
RECORD = b'{"reading": "7 1/2\\""}' * 50


@pytest.fixture
def tagged_pdf(tmp_path: Path) -> bytes:
    (tmp_path / "main.typ").write_text(SOURCE)
    (tmp_path / "record.json").write_bytes(RECORD)
    return typst.compile(
        tmp_path / "main.typ",
        root=tmp_path,
        format="pdf",
        timestamp=datetime(2026, 4, 7, tzinfo=UTC),
        pdf_standards=["a-3b"],
    )


def read_with(program: str, *arguments: str, content: bytes, folder: Path) -> bytes:
    """Return what a program of poppler reads in a file, with no complaint."""
    if not shutil.which(program):
        pytest.skip(f"no {program} here: install the Debian package poppler-utils")
    path = folder / "read.pdf"
    path.write_bytes(content)
    done = subprocess.run(
        [program, *arguments, str(path), *(["-"] if program == "pdftotext" else [])],
        capture_output=True,
        check=True,
        timeout=60,
    )
    return done.stdout


def list_streams(content: bytes) -> list[bytes]:
    return re.findall(rb"\nstream\r?\n(.*?)\nendstream", content, re.DOTALL)


def test_a_packed_file_is_read_as_before(tagged_pdf: bytes, tmp_path: Path) -> None:
    packed = pack_pdf(tagged_pdf)
    assert len(packed) < len(tagged_pdf) / 3
    texts = [
        read_with("pdftotext", "-layout", content=each, folder=tmp_path)
        for each in (tagged_pdf, packed)
    ]
    assert texts[0] == texts[1]
    assert b"Cell 1199" in texts[1]
    structures = [
        read_with("pdfinfo", "-struct", content=each, folder=tmp_path)
        for each in (tagged_pdf, packed)
    ]
    assert structures[0] == structures[1]
    assert structures[1].count(b"TD") >= 1200
    details = read_with("pdfinfo", content=packed, folder=tmp_path)
    assert b"Larch yard shed" in details


def test_every_stream_keeps_its_bytes(tagged_pdf: bytes) -> None:
    packed = list_streams(pack_pdf(tagged_pdf))
    before = list_streams(tagged_pdf)
    assert packed[: len(before)] == before
    unpacked = []
    for stream in packed:
        try:
            unpacked.append(zlib.decompress(stream))
        except zlib.error:
            continue
    assert RECORD in unpacked


def test_the_same_file_is_packed_the_same(tagged_pdf: bytes) -> None:
    assert pack_pdf(tagged_pdf) == pack_pdf(tagged_pdf)


def test_a_packed_file_is_not_packed_again(tagged_pdf: bytes) -> None:
    with pytest.raises(PackingError, match="trailer"):
        pack_pdf(pack_pdf(tagged_pdf))


def test_a_shifted_file_is_refused(tagged_pdf: bytes) -> None:
    with pytest.raises(PackingError, match="byte"):
        pack_pdf(b"%\n" + tagged_pdf)
