"""What tests share: the open recordings where they are, byte sources in memory, one profile."""

from __future__ import annotations

import io
import os
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

import pytest
from hypothesis import HealthCheck, settings
from tests.skips_listed import LEFT_OUT, recordings_folder, register

from shearbolt.model.reading import NotRead
from shearbolt.recordings.recording import ByteSource, Progress

settings.register_profile(
    "house", deadline=None, suppress_health_check=[HealthCheck.too_slow], max_examples=60
)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "house"))


def pytest_configure(config: pytest.Config) -> None:
    """Let no skipped test go by unlisted."""
    register(config)


@pytest.fixture(scope="session")
def recordings_dir() -> Path:
    """Folder of the open recordings: SHEARBOLT_RECORDINGS, else ../shared/recordings."""
    folder = recordings_folder()
    if folder is None:
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
