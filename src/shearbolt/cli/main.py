"""The way into the command line, and the one place where errors become exit statuses."""

from __future__ import annotations

import atexit
import gc
import sys
from collections.abc import Sequence
from io import TextIOWrapper

from shearbolt.cli.commands import shearbolt

_OBJECTS = 100_000
"""New objects between two searches for garbage."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; give its exit status (0 done, 1 partly, 2 wrong usage, 3 nothing)."""
    arguments = list(sys.argv[1:] if arguments is None else arguments)
    _sweep_seldom()
    _speak_utf8()
    said: dict[str, object] = {}
    try:
        outcome = shearbolt.main(arguments, prog_name="shearbolt", standalone_mode=False, obj=said)
    except (Exception, KeyboardInterrupt) as error:
        from shearbolt.cli.manner import Manner
        from shearbolt.cli.trouble import tell

        book = said.get("book")
        manner = Manner(book=book if isinstance(book, str) else None)
        return tell(
            error,
            manner.book_folder,
            json=_wants(arguments, "--json"),
            quiet=_wants(arguments, "--quiet"),
        )
    return outcome if isinstance(outcome, int) else 0


def _wants(arguments: Sequence[str], flag: str) -> bool:
    """Tell whether a flag was given, even where the rest could not be understood."""
    own = arguments[: arguments.index("--")] if "--" in arguments else arguments
    return flag in own


def _sweep_seldom() -> None:
    """Leave garbage lying: loading and decoding make many objects and hardly any of it.

    To search for it as often as Python does by itself, and once more at the end, when all is given
    back anyway, takes a tenth of the time of a large `add` (measured).
    """
    gc.set_threshold(_OBJECTS, 20, 20)
    atexit.unregister(gc.freeze)
    atexit.register(gc.freeze)


def _speak_utf8() -> None:
    """Write UTF-8 whatever the console's code page, and never fail over a single mark."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(encoding="utf-8", errors="backslashreplace")
