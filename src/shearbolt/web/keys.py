"""The memory of forms sent: each carries a key of its own, and does its work once.

A connection that drops after the work was done and before the answer came leaves a person with a
form that they send again. The same form with the same key gets the same answer; other words under
a key that was used are refused and shown what the first ones became. The memory is one small file
a key in the book's folder, `page/forms`, so that it outlives the server.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import secrets
import threading
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TypedDict

from shearbolt.errors import ShearboltError, UsageError

_KEY = re.compile(r"[A-Za-z0-9_-]{20,64}\Z")
KEPT_S = 60 * 86400.0
"""How long an answer is remembered."""


class Answer(TypedDict):
    """What a form became."""

    to: str
    """Address of the page that shows it."""
    shown: object
    """What that page shows beside the book, where it does; else null."""


class UsedBefore(ShearboltError):
    """The key was used for other words; `to` shows what became of them."""

    def __init__(self, to: str) -> None:
        super().__init__(
            "This form was sent before with other words, and those are in the book already. "
            "To add these too, send them once more."
        )
        self.to = to


class NotSure(ShearboltError):
    """The program ended while it worked on this form, so what became of it is not known."""

    def __init__(self) -> None:
        super().__init__(
            "This form was sent before, and Shearbolt was stopped while it was at work on it. "
            "Look whether it is in the book; if it is not, send it once more."
        )


def new_key() -> str:
    """Make the key of a form: 128 random bits."""
    return secrets.token_urlsafe(16)


def digest_of(parts: Iterable[tuple[str, str]]) -> str:
    """Digest the fields of a form, so that the same words are known again."""
    text = json.dumps(sorted(parts), ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()


class Forms:
    """The forms sent to one book."""

    def __init__(self, folder: Path, now: Callable[[], float]) -> None:
        self.folder = folder
        self.now = now
        self._guard = threading.Lock()
        self._locks: dict[str, tuple[threading.Lock, int]] = {}

    def once(self, key: str, digest: str, work: Callable[[], Answer]) -> Answer:
        """Do the work of a form, or give the answer that it had before.

        Raises UsageError for a key that is none, UsedBefore, NotSure, and whatever `work` raises;
        a ShearboltError of it means that nothing was done, and the key stays unused.
        """
        if not _KEY.match(key):
            raise UsageError("This form carries no key of its own; open its page anew.")
        with self._alone(key):
            known = self._recall(key)
            if known is not None:
                if known["digest"] != digest:
                    raise UsedBefore(known["answer"]["to"] if known["answer"] else "/")
                if known["answer"] is None:
                    raise NotSure
                return known["answer"]
            self._keep(key, {"digest": digest, "answer": None})
            try:
                answer = work()
            except ShearboltError:
                self._path(key).unlink()
                raise
            self._keep(key, {"digest": digest, "answer": answer})
            return answer

    def answer(self, key: str) -> Answer | None:
        """Give what a form became; None where no such form is remembered."""
        known = self._recall(key) if _KEY.match(key) else None
        return None if known is None else known["answer"]

    def forget_old(self) -> None:
        """Forget answers that nobody will ask for any more."""
        oldest = self.now() - KEPT_S
        for path in self.folder.glob("*.json"):
            if path.stat().st_mtime < oldest:
                path.unlink(missing_ok=True)

    def _path(self, key: str) -> Path:
        # Some file systems do not tell 'A' from 'a'.
        return self.folder / f"{hashlib.sha256(key.encode()).hexdigest()[:40]}.json"

    def _recall(self, key: str) -> _Kept | None:
        try:
            kept: _Kept = json.loads(self._path(key).read_text(encoding="ascii"))
        except FileNotFoundError:
            return None
        return kept

    def _keep(self, key: str, kept: _Kept) -> None:
        self.folder.mkdir(parents=True, exist_ok=True)
        path = self._path(key)
        fresh = path.with_suffix(".new")
        with fresh.open("w", encoding="ascii") as out:
            json.dump(kept, out)
            out.flush()
            os.fsync(out.fileno())
        fresh.replace(path)

    def _alone(self, key: str) -> _Turn:
        return _Turn(self, key)

    def enter(self, key: str) -> threading.Lock:
        """Give the lock of a key, counted by those that wait for it."""
        with self._guard:
            lock, waiting = self._locks.get(key, (threading.Lock(), 0))
            self._locks[key] = lock, waiting + 1
        return lock

    def leave(self, key: str) -> None:
        """Give up the lock of a key; the last one takes it away."""
        with self._guard:
            lock, waiting = self._locks[key]
            if waiting == 1:
                del self._locks[key]
            else:
                self._locks[key] = lock, waiting - 1


class _Kept(TypedDict):
    digest: str
    answer: Answer | None


class _Turn:
    """One form at a time under one key."""

    def __init__(self, forms: Forms, key: str) -> None:
        self.forms, self.key = forms, key

    def __enter__(self) -> None:
        self.lock = self.forms.enter(self.key)
        self.lock.acquire()

    def __exit__(self, *trouble: object) -> None:
        self.lock.release()
        self.forms.leave(self.key)
