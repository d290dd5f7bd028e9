"""Locks between programs: a file that one process holds until it lets go or dies."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

if sys.platform == "win32":
    import msvcrt

    def _grab(handle: int) -> bool:
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

    def _release(handle: int) -> None:
        os.lseek(handle, 0, os.SEEK_SET)
        msvcrt.locking(handle, msvcrt.LK_UNLCK, 1)
else:
    import fcntl

    def _grab(handle: int) -> bool:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True

    def _release(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_UN)


_LOOK_AGAIN_S = 0.02


class FileLock:
    """One holder at a time among all processes and threads; the system frees it at a death."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._handle: int | None = None

    @property
    def held(self) -> bool:
        """Tell whether this object holds it."""
        return self._handle is not None

    def take(self, wait_s: float = 0.0, clock: Callable[[], float] = time.monotonic) -> bool:
        """Take it, waiting at most `wait_s` seconds; False: somebody else holds it."""
        until = clock() + wait_s
        while not self._try():
            # No system waits for such a lock with an end to its patience, so look again.
            if clock() >= until:
                return False
            time.sleep(_LOOK_AGAIN_S)
        return True

    def _try(self) -> bool:
        handle = os.open(self.path, os.O_RDWR | os.O_CREAT, 0o644)
        try:
            if _grab(handle) and self._still_there(handle):
                self._handle = handle
                return True
        except BaseException:
            os.close(handle)
            raise
        os.close(handle)
        return False

    def _still_there(self, handle: int) -> bool:
        """Tell whether the file held is still the one under its name (it may be swept)."""
        try:
            return os.path.samestat(os.fstat(handle), self.path.stat())
        except FileNotFoundError:
            return False

    def free(self) -> None:
        """Let go."""
        if self._handle is not None:
            _release(self._handle)
            os.close(self._handle)
            self._handle = None

    def remove(self) -> None:
        """Let go and delete the file, so that nobody takes it for a lock that is held."""
        if sys.platform == "win32":
            # An open file cannot be deleted there.
            self.free()
            self.path.unlink(missing_ok=True)
        else:
            self.path.unlink(missing_ok=True)
            self.free()
