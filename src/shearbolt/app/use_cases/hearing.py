"""Hearing: a live bus listened to."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from shearbolt.app.documents import (
    ListenAsked,
    ListenDocument,
    Progress,
    ShowLive,
    Wording,
)
from shearbolt.app.use_cases.opening import opened_book, tables_of


def listen(
    book: Path,
    asked: ListenAsked,
    *,
    show: ShowLive,
    stop: Callable[[], bool],
    progress: Progress,
    wording: Wording,
) -> ListenDocument:
    """Listen to a bus until `stop` says so, showing it on the way, and file the visit.

    Raises UsageError, Ambiguous, AdapterAbsent, SpoolStopped, BookError.
    """
    from shearbolt.app import listening

    with opened_book(book) as opened:
        return listening.listen(
            opened, tables_of(opened), asked, show=show, stop=stop, progress=progress
        )
