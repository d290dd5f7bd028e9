"""Asking a machine, and recording unattended."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from shearbolt.app.documents import (
    AskAsked,
    AskDocument,
    Progress,
    ShowAsking,
    ShowWatch,
    WatchAsked,
    WatchDocument,
    Wording,
)
from shearbolt.app.use_cases.opening import opened_book, tables_of


def ask(
    book: Path,
    asked: AskAsked,
    *,
    show: ShowAsking,
    stop: Callable[[], bool],
    progress: Progress,
    wording: Wording,
) -> AskDocument:
    """Ask a machine what it tells only when asked, and file the visit.

    Raises UsageError, Ambiguous, AdapterAbsent, PortTrouble, SpoolStopped, BookError.
    """
    from shearbolt.app import asking_bus

    with opened_book(book) as opened:
        return asking_bus.ask(
            opened, tables_of(opened), asked, show=show, stop=stop, progress=progress
        )


def watch(
    asked: WatchAsked,
    *,
    show: ShowWatch,
    stop: Callable[[], bool],
    wait: Callable[[float], None],
    wording: Wording,
) -> WatchDocument:
    """Record unattended into a folder, visit after visit, until `stop` says so.

    Raises UsageError.
    """
    from shearbolt.app import unattended

    return unattended.watch(asked, show=show, stop=stop, wait=wait)
