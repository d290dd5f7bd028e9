"""What a person sees when a command fails: one sentence, never a traceback."""

from __future__ import annotations

import contextlib
import tempfile
import traceback
from datetime import UTC, datetime
from pathlib import Path

import click

from shearbolt.app.documents import ErrorDocument
from shearbolt.cli.layout import clean
from shearbolt.cli.outcome import NOTHING, USAGE
from shearbolt.cli.printing import print_json
from shearbolt.errors import ShearboltError

_LOG = "trouble.log"
_LOG_LIMIT = 1_000_000


def tell(error: BaseException, book: Path, *, json: bool, quiet: bool = False) -> int:
    """Say what went wrong and give the exit status; `book` is where a log may lie."""
    if isinstance(error, click.exceptions.NoArgsIsHelpError) and error.ctx is not None:
        click.echo(error.ctx.get_help(), err=True)
        return _report("Say which command to run.", "Usage", USAGE, json=json, shown=False)
    if isinstance(error, click.UsageError):
        status = _report(clean(error.format_message()), "Usage", USAGE, json=json)
        if error.ctx is not None and not quiet:
            click.echo(f"More: {error.ctx.command_path} --help", err=True)
        return status
    if isinstance(error, click.ClickException):
        return _report(clean(error.format_message()), "Usage", USAGE, json=json)
    if isinstance(error, ShearboltError):
        status = USAGE if error.exit_status == USAGE else NOTHING
        return _report(clean(error.sentence), type(error).__name__, status, json=json)
    if isinstance(error, click.exceptions.Abort | KeyboardInterrupt):
        sentence = "Stopped: what was finished is in the book, what was not left nothing behind."
        return _report(sentence, "Interrupted", NOTHING, json=json)
    log = write_log(error, book)
    sentence = (
        f"Something went wrong inside Shearbolt ({type(error).__name__}); what was finished is in "
        f"the book, the rest left nothing behind. "
    )
    sentence += f"The details lie in {log}." if log else "The details could not be written down."
    return _report(sentence, "Unexpected", NOTHING, json=json, log=log)


def _report(
    sentence: str,
    kind: str,
    status: int,
    *,
    json: bool,
    shown: bool = True,
    log: Path | None = None,
) -> int:
    if shown:
        click.echo(sentence, err=True)
    if json:
        document: ErrorDocument = {
            "schema": "shearbolt/error/1",
            "error": sentence,
            "kind": kind,
            "exit_status": 2 if status == USAGE else 3,
            "trouble_log": None if log is None else str(log),
        }
        print_json(document)
    return status


def write_log(error: BaseException, book: Path) -> Path | None:
    """Append the traceback to the book's trouble.log, else to one in the temporary folder."""
    text = f"--- {datetime.now(UTC).isoformat()}\n" + "".join(traceback.format_exception(error))
    for folder in (book, Path(tempfile.gettempdir()) / "shearbolt"):
        with contextlib.suppress(OSError):
            folder.mkdir(parents=True, exist_ok=True)
            path = folder / _LOG
            # One older log is kept, so that the two together stay small.
            if path.exists() and path.stat().st_size > _LOG_LIMIT:
                path.replace(folder / f"{_LOG}.old")
            with path.open("a", encoding="utf-8", errors="backslashreplace") as out:
                out.write(text)
            return path
    return None
