"""What tests share: the open recordings where they are, byte sources in memory, one profile."""

from __future__ import annotations

import io
import os
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

import pytest
from hypothesis import HealthCheck, settings

from shearbolt.model.reading import NotRead
from shearbolt.recordings.recording import ByteSource, Progress

LEFT_OUT = "open recordings not beside the checkout (left out)"

settings.register_profile(
    "house", deadline=None, suppress_health_check=[HealthCheck.too_slow], max_examples=60
)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "house"))


@pytest.fixture(scope="session")
def recordings_dir() -> Path:
    """Folder of the open recordings: SHEARBOLT_RECORDINGS, else ../shared/recordings."""
    told = os.environ.get("SHEARBOLT_RECORDINGS")
    beside = Path(__file__).resolve().parents[2] / "shared" / "recordings"
    folder = Path(told) if told else beside
    if not (folder / "README.md").is_file():
        pytest.skip(LEFT_OUT)
    return folder


class _MemorySource:
    """A recording's bytes held in memory, already decompressed."""

    def __init__(self, data: bytes, name: str) -> None:
        self._data = data
        self._name = name

    @property
    def name(self) -> str:
        return self._name

    @property
    def size(self) -> int:
        return len(self._data)

    def head(self, count: int) -> bytes:
        return self._data[:count]

    def open(self, progress: Progress | None = None) -> BinaryIO:
        if progress is not None:
            progress(0)
        return io.BytesIO(self._data)

    def damage(self) -> tuple[NotRead, ...]:
        return ()


@pytest.fixture(scope="session")
def in_memory() -> Callable[[bytes], ByteSource]:
    """Make a byte source from bytes."""
    return lambda data: _MemorySource(data, "recording.log")
