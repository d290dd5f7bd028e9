"""An open recording brought into a book of its own, with its facts and its decoded content."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.command_line import Told, run

from shearbolt.decode.columns import DecodedBlock
from shearbolt.decode.visit import decode_recording
from shearbolt.dictionary.merged import Dictionary
from shearbolt.model.message import Message
from shearbolt.model.visit import VisitContent
from shearbolt.recordings import open_recording

Facts = dict[str, Any]

FILES = (
    "truck_drive/recording.log",
    "tractor/key_on_and_run.log",
    "tractor/start_in_gear.csv",
    "tractor/start_in_gear.log",
    "tractor/sensor_unplugged_analyser_export.csv",
)


@dataclass(frozen=True, slots=True)
class Brought:
    """One recording in a book of its own."""

    book: Path
    told: Told
    facts: Facts
    content: VisitContent
    messages: tuple[Message, ...]
    visit: dict[str, Any]
    """The visit as `add` told it."""


def bring(recordings: Path, where: str, books: Path) -> Brought:
    """Bring one recording in by the command line, and decode it directly beside that."""
    path, book = recordings / where, books / Path(where).name
    told = run(book, "add", "--json", path)
    recording = open_recording(path)
    messages: list[Message] = []

    def keep(block: DecodedBlock) -> None:
        messages.extend(block.messages)

    content = decode_recording(
        recording.blocks(), Dictionary.ours(), recording.time_base, each=keep
    )
    facts: Facts = json.loads((path.parent / "FACTS.json").read_text("utf-8"))
    own = facts if "format" in facts else facts[path.name]
    (visit,) = told.document["visits"]
    return Brought(book, told, own, content, tuple(messages), visit)
