"""Forms as they arrive: fields into memory, files streamed to the disk of the book.

Starlette's own reader keeps files in the system's temporary folder, which on a small computer in
the cab lies in memory; here each goes straight into a folder beside the book.
"""

from __future__ import annotations

import hashlib
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import mkdtemp
from typing import TYPE_CHECKING, BinaryIO

from python_multipart import MultipartParser
from python_multipart.exceptions import FormParserError
from python_multipart.multipart import parse_options_header
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request

from shearbolt.errors import UsageError

if TYPE_CHECKING:
    from python_multipart.multipart import MultipartCallbacks

MOST_FILES = 500
MOST_FIELDS = 1200
LONGEST_FIELD = 20_000
_LONGEST_FILE_NAME = 120
_RESERVE_BYTES = 200_000_000
"""Room on the disk that an upload leaves free."""
_LEFT_BEHIND_S = 86_400.0
_PICTURES = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n")
_BOXED_PICTURES = (b"ftypheic", b"ftypheix", b"ftypmif1", b"ftypavif")


@dataclass(slots=True)
class File:
    """A file that arrived."""

    name: str
    """As its sender calls it, made safe."""
    path: Path
    size: int
    sha256: str


@dataclass(slots=True)
class Sent:
    """A form that arrived."""

    fields: dict[str, list[str]] = field(default_factory=dict)
    files: dict[str, list[File]] = field(default_factory=dict)

    def parts(self) -> list[tuple[str, str]]:
        """All that was sent but the key, for telling the same words again."""
        words = [(name, one) for name, some in self.fields.items() for one in some if name != "key"]
        return words + [
            (name, f"{one.name} {one.sha256}") for name, some in self.files.items() for one in some
        ]


@contextmanager
def arriving(folder: Path) -> Iterator[Path]:
    """Give a folder of its own for what arrives; it is gone afterwards."""
    folder.mkdir(parents=True, exist_ok=True)
    own = Path(mkdtemp(dir=folder, prefix="sent-"))
    try:
        yield own
    finally:
        shutil.rmtree(own, ignore_errors=True)


def sweep(folder: Path, now_s: float) -> None:
    """Remove what arrived and was left behind when the power went, a day ago or longer."""
    for left in folder.glob("sent-*"):
        with suppress(OSError):
            if left.stat().st_mtime < now_s - _LEFT_BEHIND_S:
                shutil.rmtree(left, ignore_errors=True)


async def receive(request: Request, folder: Path) -> Sent:
    """Read a form; files are written into `folder`.

    Raises UsageError for what is no form, or too much of it; TooLarge by way of the guard.
    """
    kind, options = parse_options_header(request.headers.get("content-type", ""))
    if kind == b"application/x-www-form-urlencoded":
        form = await request.form(max_fields=MOST_FIELDS)
        sent = Sent()
        for name, value in form.multi_items():
            if isinstance(value, str):
                sent.fields.setdefault(name, []).append(value[:LONGEST_FIELD])
        return sent
    boundary = options.get(b"boundary")
    if kind != b"multipart/form-data" or not boundary:
        raise UsageError("What was sent is no form of ours.")
    told = int(request.headers.get("content-length", "0"))
    if told > shutil.disk_usage(folder).free - _RESERVE_BYTES:
        raise UsageError("The disk of this computer is too full for that; nothing was kept.")
    reader = _Reader(folder)
    try:
        parser = MultipartParser(boundary, reader.callbacks())
        async for chunk in request.stream():
            await run_in_threadpool(parser.write, chunk)
        parser.finalize()
    except FormParserError:
        raise UsageError("What was sent broke off or is no form of ours; send it again.") from None
    finally:
        reader.close()
    if reader.open_part:
        raise UsageError("What was sent broke off on the way; send it again.")
    return reader.sent


def safe_name(told: str, place: int) -> str:
    """Make a file name that is one on every system, and still says what its sender called it."""
    last = told.replace("\\", "/").rsplit("/", 1)[-1]
    kept = "".join(c if c.isprintable() and c not in '<>:"|?*' else "_" for c in last)
    kept = kept.strip(". ")
    if len(kept) > _LONGEST_FILE_NAME:
        stem, dot, ending = kept.rpartition(".")
        ending = dot + ending if stem and len(ending) < 12 else ""
        kept = kept[: _LONGEST_FILE_NAME - len(ending)] + ending
    return kept or f"recording-{place + 1}"


def is_picture(path: Path) -> bool:
    """Tell by its first bytes whether a file is a picture of a form that phones make."""
    with path.open("rb") as file:
        head = file.read(16)
    return (
        head.startswith(_PICTURES)
        or head[4:12] in _BOXED_PICTURES
        or (head[:4] == b"RIFF" and head[8:12] == b"WEBP")
    )


class _Reader:
    """Takes the parts of a multipart form (RFC 7578) as its parser finds them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.sent = Sent()
        self.open_part = False
        self.count = 0
        self.headers: dict[bytes, bytes] = {}
        self.header_name = b""
        self.header_value = b""
        self.name = ""
        self.text = bytearray()
        self.file: BinaryIO | None = None
        self.path = folder
        self.hash = hashlib.sha256()
        self.size = 0

    def callbacks(self) -> MultipartCallbacks:
        """Name the methods by what the parser calls them."""
        return {
            "on_part_begin": self.part_begin,
            "on_header_field": self.header_field,
            "on_header_value": self.header_value_part,
            "on_header_end": self.header_end,
            "on_headers_finished": self.headers_finished,
            "on_part_data": self.part_data,
            "on_part_end": self.part_end,
        }

    def close(self) -> None:
        """Close a file that broke off."""
        if self.file is not None:
            self.file.close()
            self.file = None

    def part_begin(self) -> None:
        """Begin a part."""
        self.open_part = True
        self.headers = {}
        self.count += 1
        if self.count > MOST_FILES + MOST_FIELDS:
            raise UsageError(f"That is too much for one form: at most {MOST_FILES} files at once.")

    def header_field(self, data: bytes, start: int, end: int) -> None:
        """Take a piece of a header's name."""
        self.header_name += data[start:end]

    def header_value_part(self, data: bytes, start: int, end: int) -> None:
        """Take a piece of a header's value."""
        self.header_value += data[start:end]

    def header_end(self) -> None:
        """Keep a header."""
        self.headers[self.header_name.lower()] = self.header_value
        self.header_name = self.header_value = b""

    def headers_finished(self) -> None:
        """Tell whether the part is a field or a file, and open the file."""
        _, options = parse_options_header(self.headers.get(b"content-disposition", b""))
        self.name = options.get(b"name", b"").decode("utf-8", "replace")
        told = options.get(b"filename")
        self.text.clear()
        if told is None:
            return
        files = sum(map(len, self.sent.files.values()))
        if files >= MOST_FILES:
            raise UsageError(f"At most {MOST_FILES} files are taken at once; send the rest after.")
        # Each in a folder of its own: two may have the same name.
        own = self.folder / str(files)
        own.mkdir(exist_ok=True)
        self.path = own / safe_name(told.decode("utf-8", "replace"), files)
        self.hash = hashlib.sha256()
        self.size = 0
        self.file = self.path.open("wb")

    def part_data(self, data: bytes, start: int, end: int) -> None:
        """Take a piece of a field or file."""
        piece = data[start:end]
        if self.file is not None:
            self.file.write(piece)
            self.hash.update(piece)
            self.size += len(piece)
            return
        self.text += piece
        if len(self.text) > LONGEST_FIELD:
            raise UsageError(f"A field holds more than {LONGEST_FIELD:,} characters.")

    def part_end(self) -> None:
        """Keep the part; a file field in which nothing was chosen is none."""
        self.open_part = False
        if self.file is None:
            self.sent.fields.setdefault(self.name, []).append(self.text.decode("utf-8", "replace"))
            return
        self.close()
        if self.size:
            self.sent.files.setdefault(self.name, []).append(
                File(self.path.name, self.path, self.size, self.hash.hexdigest())
            )
        else:
            self.path.unlink()


def set_age(file: File, modified_ms: str) -> None:
    """Give a file the age that its sender told; else none, for 'now' would be a wrong date.

    A recording without dates of its own is placed in time by its file's date.
    """
    try:
        seconds = max(0.0, float(modified_ms) / 1000)
        os.utime(file.path, (seconds, seconds))
    except (ValueError, OverflowError, OSError):
        os.utime(file.path, (0, 0))
