"""The bytes of a file: packing told from the content, damage survived and told."""

from __future__ import annotations

import gzip
import random
import zlib
from pathlib import Path

import pytest
import zstandard

from shearbolt.errors import RecordingError
from shearbolt.recordings.source import FileSource
from shearbolt.recordings.text import LONGEST_LINE, chunks_of_lines

TEXT = b"".join(b"(%d.000000) can0 18FEF100#%016X\n" % (i, i * i) for i in range(20_000))


def pack_zstd(data: bytes) -> bytes:
    return zstandard.ZstdCompressor(write_checksum=True).compress(data)


def source(tmp_path: Path, data: bytes) -> FileSource:
    path = tmp_path / "recording"
    path.write_bytes(data)
    return FileSource(path)


def everything(of: FileSource) -> bytes:
    with of.open() as stream:
        return stream.read()


@pytest.mark.parametrize("name", ["plain", "gzip", "zstd"])
def test_packing_is_told_from_the_content(name: str, tmp_path: Path) -> None:
    data = {"plain": TEXT, "gzip": gzip.compress(TEXT), "zstd": pack_zstd(TEXT)}[name]
    found = source(tmp_path, data)
    assert found.compression == ("" if name == "plain" else name)
    assert found.head(1000) == TEXT[:1000]
    done: list[int] = []
    with found.open(done.append) as stream:
        assert stream.read() == TEXT
    assert done == sorted(done)
    assert done[-1] == found.size == len(data)
    assert found.damage() == ()


def test_many_parts_zeros_and_skipped_frames(tmp_path: Path) -> None:
    third = len(TEXT) // 3
    parts = [TEXT[:third], b"", TEXT[third : 2 * third], TEXT[2 * third :]]
    found = source(tmp_path, b"".join(gzip.compress(one) for one in parts) + bytes(700))
    assert everything(found) == TEXT
    assert found.damage() == ()
    skipped = b"\x53\x2a\x4d\x18" + (40_000).to_bytes(4, "little") + bytes(40_000)
    found = source(tmp_path, skipped + skipped.join(pack_zstd(one) for one in parts) + skipped)
    assert found.compression == "zstd"
    assert everything(found) == TEXT
    assert found.damage() == ()


@pytest.mark.parametrize("kind", ["gzip", "zstd"])
def test_a_cut_file_gives_what_can_be_unpacked(kind: str, tmp_path: Path) -> None:
    data = gzip.compress(TEXT) if kind == "gzip" else pack_zstd(TEXT)
    found = source(tmp_path, data[: len(data) * 3 // 4])
    got = everything(found)
    assert TEXT.startswith(got)
    assert len(got) > len(TEXT) // 2
    (damage,) = found.damage()
    assert "ends too early" in damage.reason
    assert damage.byte == len(got)
    assert everything(found) == got, "a second pass gives the same"
    assert len(found.damage()) == 1


@pytest.mark.parametrize("kind", ["gzip", "zstd"])
def test_a_damaged_part_does_not_cost_the_others(kind: str, tmp_path: Path) -> None:
    pack = gzip.compress if kind == "gzip" else pack_zstd
    parts = [b"first %d\n" * 500, random.Random(1).randbytes(30_000), b"third\n" * 500]
    packed = [pack(one) for one in parts]
    data = bytearray(b"".join(packed))
    data[len(packed[0]) + len(packed[1]) // 2] ^= 0x10
    found = source(tmp_path, bytes(data))
    got = everything(found)
    assert got.startswith(parts[0])
    assert got.endswith(parts[2])
    assert len(found.damage()) == 1


def test_gzip_gives_all_up_to_a_wrong_checksum(tmp_path: Path) -> None:
    data = bytearray(gzip.compress(TEXT))
    data[-6] ^= 1
    found = source(tmp_path, bytes(data))
    assert everything(found) == TEXT
    assert len(found.damage()) == 1


@pytest.mark.parametrize("kind", ["gzip", "zstd"])
def test_something_else_behind_the_packed_data_is_told(kind: str, tmp_path: Path) -> None:
    packed = gzip.compress(TEXT) if kind == "gzip" else pack_zstd(TEXT)
    found = source(tmp_path, packed + b"and then some words")
    assert everything(found) == TEXT
    (damage,) = found.damage()
    assert "something else" in damage.reason


def test_a_bomb_stays_in_bounded_memory(tmp_path: Path) -> None:
    import tracemalloc

    packer = zlib.compressobj(wbits=31)
    data = b"".join([packer.compress(bytes(1 << 20)) for _ in range(200)]) + packer.flush()
    found = source(tmp_path, data)
    tracemalloc.start()
    with found.open() as stream:
        total = 0
        while piece := stream.read(1 << 20):
            total += len(piece)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert total == 200 << 20
    assert peak < 64 << 20


def test_a_file_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "closed.log"
    path.write_bytes(b"x")

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(RecordingError, match="may not be read"):
        FileSource(path)


def test_a_name_that_is_none(tmp_path: Path) -> None:
    with pytest.raises(RecordingError):
        FileSource(tmp_path / ("x" * 5000))


def test_lines_of_every_ending(tmp_path: Path) -> None:
    found = source(tmp_path, b"\xef\xbb\xbfone\r\ntwo\nthree\rfour")
    with found.open() as stream:
        got = [
            (n, line)
            for first, lines in chunks_of_lines(stream)
            for n, line in enumerate(lines, first)
        ]
    assert got == [(1, "one"), (2, "two"), (3, "three"), (4, "four")]


def test_a_line_without_end_stays_bounded(tmp_path: Path) -> None:
    found = source(tmp_path, b"x" * (5 << 20))
    with found.open() as stream:
        sizes = [len(line) for _, lines in chunks_of_lines(stream) for line in lines]
    assert sum(sizes) == 5 << 20
    assert max(sizes) < (1 << 20) + LONGEST_LINE
