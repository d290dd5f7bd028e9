"""Transport sessions of the open recordings against facts from an independent script."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from shearbolt.model.message import Broken, BrokenSession, Carried, Message
from shearbolt.wire.diagnostics import DM1
from shearbolt.wire.fault_list import read_fault_list
from shearbolt.wire.identifier import pgns_of
from shearbolt.wire.transport import Reassembler, is_transport

Row = tuple[int, int, bytes]
"""Instant in microseconds, identifier, data."""
LOG = re.compile(r"\s*\(0*(\d+\.\d+)\)\s+\w+\s+([0-9A-F]{8})(?:#|\s+\[\d\]\s+)([0-9A-F ]*)$")


def log_rows(path: Path) -> Iterator[Row]:
    for line in path.read_text("ascii").splitlines():
        found = LOG.match(line)
        assert found, line
        yield (
            round(float(found[1]) * 1e6),
            int(found[2], 16),
            bytes.fromhex(found[3]),
        )


def analyser_rows(path: Path) -> Iterator[Row]:
    """Read the rows whose identifier has 29 bits and whose data are as long as they say."""
    units = {"s": 1_000_000, "ms": 1_000}
    for line in path.read_text("utf-8").splitlines()[1:]:
        cells = line.split(",")
        time = re.fullmatch(r"(-?[\d.]+)(ms|s)", cells[1])
        data = cells[6].split() if len(cells) > 6 else []
        good = time and re.fullmatch("[01][0-9A-F]{7}", cells[3]) and str(len(data)) == cells[5]
        if good and time and all(re.fullmatch("[0-9A-F]{2}", one) for one in data):
            at = round(float(time[1]) * units[time[2]])
            yield at, int(cells[3], 16), bytes.fromhex("".join(data))


def reassemble(rows: list[Row]) -> tuple[list[Message], list[BrokenSession]]:
    time_us = np.array([row[0] for row in rows], np.int64)
    ident = np.array([row[1] for row in rows], np.uint32)
    length = np.array([len(row[2]) for row in rows], np.uint8)
    word = np.array(
        [int.from_bytes(row[2][:8].ljust(8, b"\xff"), "little") for row in rows], np.uint64
    )
    mine = is_transport(ident)
    reassembler = Reassembler()
    events = [
        *reassembler.feed_many(
            time_us[mine], np.zeros(mine.sum(), np.uint8), ident[mine], length[mine], word[mine]
        ),
        *reassembler.finish(),
    ]
    return (
        [one for one in events if isinstance(one, Message)],
        [one for one in events if isinstance(one, BrokenSession)],
    )


def facts_of(folder: Path, name: str) -> dict[str, Any]:
    facts: dict[str, Any] = json.loads((folder / "FACTS.json").read_text("utf-8"))
    return facts if "format" in facts else facts[name]


@pytest.mark.parametrize(
    ("where", "rows_of"),
    [
        ("truck_drive/recording.log", log_rows),
        ("tractor/key_on_and_run.log", log_rows),
        ("tractor/start_in_gear.log", log_rows),
        ("tractor/sensor_unplugged_analyser_export.csv", analyser_rows),
    ],
)
def test_sessions_as_the_facts_say(
    recordings_dir: Path, where: str, rows_of: Callable[[Path], Iterator[Row]]
) -> None:
    path = recordings_dir / where
    facts = facts_of(path.parent, path.name)
    transport = facts["transport"]
    messages, broken = reassemble(list(rows_of(path)))
    carried = Counter(one.carried for one in messages)
    assert carried[Carried.BAM] == transport.get("BAM complete", 0)
    assert carried[Carried.RTS] == transport.get("RTS complete", 0)
    stray = [one for one in broken if one.reason is Broken.NO_SESSION]
    assert len(stray) == transport.get("DT with no open session", 0)
    rest = [one.reason for one in broken if one.reason is not Broken.NO_SESSION]
    assert rest == [Broken.INCOMPLETE] * facts["transport_open_at_end"]
    by_group = Counter(f"{one.carried.upper()} pgn {one.pgn} from {one.source}" for one in messages)
    told = (one.rsplit(": ", 1) for one in facts["transport_messages"])
    assert by_group == {group: int(count) for group, count in told}


def test_faults_of_the_truck(recordings_dir: Path) -> None:
    path = recordings_dir / "truck_drive/recording.log"
    facts = facts_of(path.parent, path.name)
    rows = list(log_rows(path))
    messages, _ = reassemble(rows)
    single = pgns_of(np.array([row[1] for row in rows], np.uint32)) == DM1
    reports = [(one.source, one.end_us, one.payload) for one in messages if one.pgn == DM1]
    reports += [(rows[at][1] & 0xFF, rows[at][0], rows[at][2]) for at in np.flatnonzero(single)]
    assert {str(source) for source, _, _ in reports} == set(facts["dm1"])
    for address, told in facts["dm1"].items():
        mine = [
            (at, read_fault_list(payload))
            for source, at, payload in reports
            if source == int(address)
        ]
        lists = [(at, one) for at, one in mine if one is not None]
        assert len(lists) == told["messages"]
        assert sum(one.all_clear for _, one in lists) == told["messages_without_fault"]
        seen = Counter((dtc.spn, dtc.fmi, dtc.count) for _, one in lists for dtc in one.dtcs)
        expected = {
            (fault["spn"], fault["fmi"], count): fault["messages"]
            for fault in told["faults"]
            for count in fault["oc"]
        }
        assert seen == expected
        # The independent script dates a message by its last frame.
        assert min(at for at, _ in lists) == round(told["first"] * 1e6)
        assert max(at for at, _ in lists) == round(told["last"] * 1e6)
