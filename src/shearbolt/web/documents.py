"""Documents kept ready until the book changes, so that a page is there at once.

Making a document reads a machine's whole record and judges it, which takes longer than a person on
a phone should wait. The book tells that it has changed by its files; a document is never given out
when they did. Judgements also age with the clock, so none is kept for longer than KEPT_S.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from pathlib import Path
from typing import Literal, TypeVar, cast

from shearbolt.app import use_cases
from shearbolt.app.documents import (
    ChecksDocument,
    FaultDocument,
    MachineDocument,
    VisitDocument,
    Wording,
    YardDocument,
)
from shearbolt.app.picturing import fault_picture, machine_picture
from shearbolt.app.picturing.documents import FaultView, MachineView, Picture

KEPT_S = 300.0
"""How long a document may be given out while the book does not change."""
_MOST = 512
_MOST_PICTURES = 32
"""Figures of pictures are large, and asked for one after the other."""
_Stamp = tuple[tuple[str, int, int], ...]
_Document = TypeVar("_Document")


def stamp_of(book: Path) -> _Stamp:
    """Tell the state of the book by its files: names, sizes and times of change.

    Shared memory of SQLite (`-shm`) changes with every look, so it does not count; an empty
    write-ahead log is there while somebody looks, and counts as none.
    """
    found = []
    for path in (*book.glob("*"), *book.glob("owner/*")):
        try:
            seen = path.stat()
        except OSError:
            continue
        if path.is_file() and seen.st_size and not path.name.endswith("-shm"):
            found.append((path.name, seen.st_size, seen.st_mtime_ns))
    return tuple(sorted(found))


class Documents:
    """The documents of one book, made when they are first asked for."""

    def __init__(self, book: Path, clock: Callable[[], float]) -> None:
        self.book = book
        self.clock = clock
        self._guard = threading.Lock()
        self._kept: OrderedDict[tuple[str, ...], tuple[_Stamp, float, object]] = OrderedDict()
        self._making: dict[tuple[str, ...], threading.Lock] = {}

    def yard(self, wording: Wording) -> YardDocument:
        """Look at the fleet. Raises ShearboltError."""
        return self._get(
            ("yard", "", wording.lang, wording.units),
            lambda: use_cases.yard(self.book, wording=wording),
        )

    def machine(self, which: str, wording: Wording) -> MachineDocument:
        """Look at one machine. Raises NotInBook, Ambiguous."""
        return self._get(
            ("machine", which, wording.lang, wording.units),
            lambda: use_cases.machine(self.book, which, wording=wording),
        )

    def fault(self, which: str, wording: Wording) -> FaultDocument:
        """Look at one fault; at once where its machine was looked at before. Raises NotInBook."""
        return self._on_a_machine(which, wording) or self._get(
            ("fault", which, wording.lang, wording.units),
            lambda: use_cases.fault(self.book, which, wording=wording),
        )

    def _on_a_machine(self, which: str, wording: Wording) -> FaultDocument | None:
        """Find a fault on a machine whose document is kept: the two hold the same."""
        stamp = stamp_of(self.book)
        with self._guard:
            kept = [
                cast(MachineDocument, one[2])
                for key, one in self._kept.items()
                if key[0] == "machine"
                and key[2:] == (wording.lang, wording.units)
                and one[0] == stamp
                and self.clock() - one[1] < KEPT_S
            ]
        for machine in kept:
            for fault in machine["faults"]:
                if fault["fault"] == which:
                    return {
                        **fault,
                        "schema": "shearbolt/fault/1",
                        "machine": machine["machine"],
                        "machine_name": machine["machine_name"],
                        "repairs": [one for one in machine["repairs"] if which in one["faults"]],
                    }
        return None

    def visit(self, which: str, wording: Wording) -> VisitDocument:
        """Look at one visit. Raises NotInBook."""
        return self._get(
            ("visit", which, wording.lang, wording.units),
            lambda: use_cases.visit(self.book, which, wording=wording),
        )

    def checks_done(self, machine: str, wording: Wording) -> ChecksDocument:
        """Look at the checks done on a machine. Raises NotInBook."""
        return self._get(
            ("checks", machine, wording.lang, wording.units),
            lambda: use_cases.check_list(self.book, machine, wording=wording),
        )

    def system_v(self, machine: str) -> Literal[12, 24]:
        """Tell the voltage of a machine's battery, 12 where it is not known. Raises NotInBook."""
        return self._get(("system_v", machine, "", ""), lambda: _system_v(self.book, machine))

    def fault_picture(self, which: str, of: FaultView, wording: Wording) -> Picture:
        """Give the figures of a picture of a fault. Raises NotInBook."""
        return self._get(
            ("picture", f"{which} {of}", wording.lang, wording.units),
            lambda: fault_picture(self.book, which, of, wording=wording),
        )

    def machine_picture(self, which: str, of: MachineView, wording: Wording) -> Picture:
        """Give the figures of a picture of a machine. Raises NotInBook, Ambiguous."""
        return self._get(
            ("picture", f"{which} {of}", wording.lang, wording.units),
            lambda: machine_picture(self.book, which, of, wording=wording),
        )

    def _get(self, key: tuple[str, ...], make: Callable[[], _Document]) -> _Document:
        with self._guard:
            making = self._making.setdefault(key, threading.Lock())
        # Whoever asks for what is being made waits for it instead of making it twice.
        with making:
            stamp = stamp_of(self.book)
            with self._guard:
                kept = self._kept.get(key)
                if kept is not None and kept[0] == stamp and self.clock() - kept[1] < KEPT_S:
                    self._kept.move_to_end(key)
                    return cast(_Document, kept[2])
            try:
                made = make()
            except BaseException:
                with self._guard:
                    self._making.pop(key, None)
                raise
            with self._guard:
                self._kept[key] = stamp, self.clock(), made
                self._kept.move_to_end(key)
                pictures = [one for one in self._kept if one[0] == "picture"]
                over = pictures[: max(0, len(pictures) - _MOST_PICTURES)]
                over += [one for one in self._kept if one not in over][
                    : max(0, len(self._kept) - len(over) - _MOST)
                ]
                for dropped in over:
                    del self._kept[dropped]
                    self._making.pop(dropped, None)
            return made


def _system_v(book: Path, which: str) -> Literal[12, 24]:
    from shearbolt.app.concluding.kept import conclusions_of
    from shearbolt.app.concluding.record import read_machine
    from shearbolt.app.use_cases.opening import opened_book, tables_of

    with opened_book(book) as opened:
        record = read_machine(opened, opened.machine(which))
        return conclusions_of(opened, record, tables_of(opened)).system_v or 12
