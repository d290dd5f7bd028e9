"""Recordings: one module a format, from a file to frames and what could not be read.

The kind of a file is told from its content. Every reader gives its frames block by block, can be
asked for another pass, and reports what it could not read with line or byte, count and reason.
"""

from shearbolt.recordings.columns import TableColumns, parse_columns
from shearbolt.recordings.opening import open_recording
from shearbolt.recordings.recording import BLOCK_FRAMES, ByteSource, Progress, Recording
from shearbolt.recordings.source import FileSource, unpacked_sha256

__all__ = [
    "BLOCK_FRAMES",
    "ByteSource",
    "FileSource",
    "Progress",
    "Recording",
    "TableColumns",
    "open_recording",
    "parse_columns",
    "unpacked_sha256",
]
