"""A recording is known again, whether it comes packed or not."""

from __future__ import annotations

import gzip
from pathlib import Path

import pytest
import zstandard
from tests.command_line import call
from tests.golden.small import Small


@pytest.mark.parametrize("first", ["plain", "gzip", "zstd"])
def test_the_same_recording_packed_in_another_way_changes_nothing(
    tmp_path: Path, first: str
) -> None:
    plain = Small().write(tmp_path / "day.log")
    data = plain.read_bytes()
    packed = tmp_path / "day.log.gz"
    packed.write_bytes(gzip.compress(data))
    other = tmp_path / "day.log.zst"
    other.write_bytes(zstandard.ZstdCompressor().compress(data))
    files = {"plain": plain, "gzip": packed, "zstd": other}
    book = tmp_path / "book"
    (visit,) = call(book, "add", files.pop(first), "--json").done()["visits"]
    assert visit["already_in_book"] is False
    for path in files.values():
        (again,) = call(book, "add", path, "--json").done()["visits"]
        assert again["already_in_book"] is True
        assert again["visit"] == visit["visit"]
    (machine,) = call(book, "yard", "--json").done()["machines"]
    assert machine["visits"] == 1
