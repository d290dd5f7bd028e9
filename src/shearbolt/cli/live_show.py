"""Showing a bus while it is listened to: a calm page in a terminal, else a line for what is new."""

from __future__ import annotations

import sys
from types import TracebackType
from typing import TYPE_CHECKING

import click

from shearbolt.app.documents import ListenDocument, LiveView
from shearbolt.cli.look import Look
from shearbolt.cli.render_live import live_lines, new_lines

if TYPE_CHECKING:
    from rich.live import Live


class LiveShow:
    """Takes views; draws over the same place where that can be done, else prints what is new.

    Used as a context, so that the screen is left tidy whatever happens. With `json` everything
    goes to standard error.
    """

    def __init__(self, look: Look, *, json: bool, quiet: bool) -> None:
        stream = sys.stderr if json else sys.stdout
        self._look = look
        self._to_error = json
        self._shown = not quiet
        self._drawn = self._shown and stream.isatty()
        self._live: Live | None = None
        self._told: set[str] = set()

    def __enter__(self) -> LiveShow:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._close()

    def __call__(self, view: LiveView) -> None:
        """Show the moment."""
        if self._drawn:
            self._draw(view)
        elif self._shown:
            for line in new_lines(view, self._look, self._told):
                click.echo(line, err=self._to_error)

    def ended(self, document: ListenDocument) -> ListenDocument:
        """Leave the screen before the document is printed; hands the document on."""
        self._close()
        return document

    def _close(self) -> None:
        if self._live is not None:
            self._live.stop()
            self._live = None

    def _draw(self, view: LiveView) -> None:
        # Rich takes a while to import.
        from rich.console import Console
        from rich.live import Live
        from rich.text import Text

        if self._live is None:
            console = Console(stderr=self._to_error, no_color=not self._look.emphasis)
            self._live = Live(console=console, auto_refresh=False, transient=True)
            self._live.start()
        height = max(8, self._live.console.size.height - 1)
        lines = live_lines(view, self._look)
        if len(lines) > height:
            lines = [*lines[: height - 1], "  ..."]
        self._live.update(Text.from_ansi("\n".join(lines)), refresh=True)
