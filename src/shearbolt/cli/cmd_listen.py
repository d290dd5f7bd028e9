"""`shearbolt listen`."""

from __future__ import annotations

import re
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

import click

from shearbolt.app.documents import ListenAsked
from shearbolt.cli.kinds import hours_typed
from shearbolt.cli.live_show import LiveShow
from shearbolt.cli.manner import Command, current_manner
from shearbolt.cli.printing import answer, look_of
from shearbolt.cli.render_live import render_listen

_OPTION = re.compile(r"([A-Za-z_][A-Za-z0-9_]*)=(.*)")


def option_typed(text: str) -> tuple[str, str | int | float | bool]:
    """Read NAME=VALUE; numbers, true and false are taken as such."""
    found = _OPTION.fullmatch(text.strip())
    if found is None:
        raise click.BadParameter(f"'{text}' is not of the form NAME=VALUE.")
    name, value = found[1], found[2].strip()
    if value.lower() in ("true", "false"):
        return name, value.lower() == "true"
    for kind in (int, float):
        try:
            return name, kind(value)
        except ValueError:
            continue
    return name, value


def seconds_typed(text: str) -> float:
    """Read a length of time in seconds, more than 0: 90, 90s, 5min, 2h."""
    found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(s|min|h)?\s*", text.lower())
    length = 0.0 if found is None else float(found[1]) * {"min": 60, "h": 3600}.get(found[2], 1)
    if length <= 0:
        raise click.BadParameter(f"'{text}' is no length of time such as 90, 5min or 2h.")
    return length


@contextmanager
def stopping() -> Iterator[threading.Event]:
    """Give an event that Ctrl-C (or a request of the system to end) sets; a second Ctrl-C breaks
    off, and what was heard is filed by the next start.
    """
    stop = threading.Event()

    def asked(number: int, frame: FrameType | None) -> None:
        if stop.is_set():
            raise KeyboardInterrupt
        stop.set()

    before = {}
    if threading.current_thread() is threading.main_thread():
        for one in (signal.SIGINT, signal.SIGTERM):
            before[one] = signal.signal(one, asked)
    try:
        yield stop
    finally:
        for one, handler in before.items():
            signal.signal(one, handler)


@click.command(cls=Command)
@click.option("--interface", metavar="NAME", help="Interface, in the bus library's words.")
@click.option("--channel", "channels", multiple=True, metavar="NAME", help="Channel; may repeat.")
@click.option(
    "--bitrate",
    type=click.IntRange(10_000, 1_000_000),
    metavar="N",
    help="Bits a second (else found by listening).",
)
@click.option(
    "--option",
    "options",
    multiple=True,
    type=option_typed,
    metavar="NAME=VALUE",
    help="Further option of the interface; may repeat.",
)
@click.option("--machine", metavar="ID_OR_NAME", help="The machine it is.")
@click.option("--hours", type=hours_typed, metavar="H", help="Engine hours on the meter.")
@click.option(
    "--for", "seconds", type=seconds_typed, metavar="TIME", help="Stop by itself: 90, 5min, 2h."
)
def listen(
    interface: str | None,
    channels: tuple[str, ...],
    bitrate: int | None,
    options: tuple[tuple[str, str | int | float | bool], ...],
    machine: str | None,
    hours: float | None,
    seconds: float | None,
) -> int:
    """Listen to a machine's bus, and file what was heard.

    Nothing is ever sent. Ctrl-C ends it. Without --interface and --channel the adapter is found
    by itself where the system can tell.
    """
    asked = ListenAsked(interface, channels, bitrate, options, machine, hours, seconds)
    manner = current_manner()
    with (
        stopping() as stop,
        LiveShow(look_of(manner), json=manner.json, quiet=manner.quiet) as show,
    ):
        return answer(
            lambda app, manner, wording, progress: show.ended(
                app.listen(
                    manner.book_folder,
                    asked,
                    show=show,
                    stop=stop.is_set,
                    progress=progress,
                    wording=wording,
                )
            ),
            render_listen,
        )
