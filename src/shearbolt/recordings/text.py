"""Lines of a text recording, a chunk at a time, and the numbers written in them."""

from __future__ import annotations

import codecs
from collections.abc import Iterator
from typing import BinaryIO

CHUNK_BYTES = 1 << 19
LONGEST_LINE = 1 << 16
"""Characters of one line; what is longer is no line of a recording."""
LATEST_US = 1 << 62
"""Instants beyond this are no instants."""

_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)


def encoding_of(head: bytes) -> tuple[str, int]:
    """Tell the encoding of a text from its first bytes: its name and the length of its mark.

    Without a mark every byte is its own character, so that damage never stops a reader.
    """
    for mark, name in _MARKS:
        if head.startswith(mark):
            return name, len(mark)
    return "latin-1", 0


def decoded(head: bytes) -> str:
    """Read the first bytes of a text as characters; what makes none becomes U+FFFD."""
    name, skip = encoding_of(head)
    return head[skip:].decode(name, "replace")


def chunks_of_lines(stream: BinaryIO) -> Iterator[tuple[int, list[str]]]:
    """Give (number of the first line, lines without their ends), from 1, in the file's order.

    A line longer than LONGEST_LINE is cut; its pieces come as lines of their own with the same
    count, so that a file without line ends stays in bounded memory.
    """
    head = stream.read(4)
    name, skip = encoding_of(head)
    decoder = codecs.getincrementaldecoder(name)("replace")
    rest = decoder.decode(head[skip:])
    number = 1
    while True:
        raw = stream.read(CHUNK_BYTES)
        text = rest + decoder.decode(raw, final=not raw)
        if "\r" in text:
            # A lone return ends a line as well; one at the very end waits for its line feed.
            held = "\r" if raw and text.endswith("\r") else ""
            text = text[: len(text) - len(held)].replace("\r\n", "\n").replace("\r", "\n")
        else:
            held = ""
        lines = text.split("\n")
        rest = lines.pop() + held
        if not raw:
            if rest:
                lines.append(rest)
            if lines:
                yield number, lines
            return
        if len(rest) > LONGEST_LINE:
            lines.append(rest)
            rest = ""
        if lines:
            yield number, lines
            number += len(lines)


def microseconds(seconds: str) -> int:
    """Read a decimal number of seconds as whole microseconds; raises ValueError."""
    value = float(seconds) * 1e6
    if not -LATEST_US < value < LATEST_US:
        raise ValueError("no instant")
    return round(value)
