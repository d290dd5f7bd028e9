"""A progress bar on standard error, where someone can see it."""

from __future__ import annotations

import sys
from types import TracebackType
from typing import TYPE_CHECKING

from shearbolt.cli.layout import clean

if TYPE_CHECKING:
    from rich.progress import Progress as Bar
    from rich.progress import TaskID


class Watching:
    """Takes progress reports; draws a bar when standard error is a terminal and it is wanted.

    Used as a context, so that the bar is gone before anything else is printed.
    """

    def __init__(self, *, wanted: bool, color: bool) -> None:
        self._shown = wanted and sys.stderr.isatty()
        self._color = color
        self._bar: Bar | None = None
        self._task: TaskID | None = None

    def __enter__(self) -> Watching:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._bar is not None:
            self._bar.stop()

    def __call__(self, done_bytes: int, total_bytes: int, words: str) -> None:
        """Move the bar, drawing it first if this is the first report."""
        if not self._shown:
            return
        if self._bar is None or self._task is None:
            self._bar = _bar(self._color)
            self._task = self._bar.add_task("", total=None)
            self._bar.start()
        self._bar.update(
            self._task,
            completed=done_bytes,
            total=total_bytes or None,
            description=clean(words)[:40],
        )


def _bar(color: bool) -> Bar:
    # Rich takes a while to import and is needed only when there is something to wait for.
    from rich.console import Console
    from rich.progress import BarColumn, DownloadColumn, Progress, TextColumn, TimeRemainingColumn

    return Progress(
        TextColumn("{task.description}", markup=False),
        BarColumn(bar_width=20),
        DownloadColumn(),
        TimeRemainingColumn(),
        console=Console(stderr=True, no_color=not color),
        transient=True,
    )
