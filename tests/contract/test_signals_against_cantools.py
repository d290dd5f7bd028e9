"""cantools as second authority: every row of signals.csv decodes to the same value on random data.

The signal database is written from the table's text by this file, apart from our loader.
"""

from __future__ import annotations

import csv
import random
from pathlib import Path

import cantools
import pytest

import shearbolt.dictionary
from shearbolt.dictionary.rules import NUMBER
from shearbolt.dictionary.signals import rows_of_group, signal_rows
from shearbolt.dictionary.values import decode_value, physical, raw_of

ROUNDS = 40
TABLE = Path(shearbolt.dictionary.__file__).parent / "data" / "signals.csv"


def database() -> str:
    """Write the table as a signal database: one message a group, one signal a row."""
    with TABLE.open(newline="", encoding="utf-8") as lines:
        rows = list(csv.DictReader(lines))
    out = ['VERSION ""', "BS_:", "BU_: Bus"]
    for pgn in sorted({int(row["pgn"]) for row in rows}):
        some = [row for row in rows if int(row["pgn"]) == pgn]
        bits = max(
            8 * (int(row["start_byte"]) - 1) + int(row["start_bit"]) - 1 + int(row["length_bits"])
            for row in some
        )
        ident = 0x80000000 | 6 << 26 | pgn << 8
        out.append(f"BO_ {ident} G{pgn}: {max(8, (bits + 7) // 8)} Bus")
        for row in some:
            start = 8 * (int(row["start_byte"]) - 1) + int(row["start_bit"]) - 1
            out.append(
                f" SG_ S{row['spn']} : {start}|{row['length_bits']}@1+ "
                f'({row["resolution"]},{row["offset"]}) [0|0] "" Bus'
            )
    return "\n".join(out) + "\n"


@pytest.fixture(scope="module")
def other() -> cantools.database.can.Database:
    found = cantools.database.load_string(database(), "dbc", strict=True)
    assert isinstance(found, cantools.database.can.Database)
    return found


def payloads(length: int, seed: int) -> list[bytes]:
    dice = random.Random(seed)
    some = [dice.randbytes(length) for _ in range(ROUNDS)]
    # All ends, and bytes near the codes for error and not available.
    some += [bytes(length), bytes([0xFF] * length), bytes([0xFE] * length), bytes([0xFA] * length)]
    some += [bytes(dice.choice(b"\xf9\xfa\xfb\xfd\xfe\xff\x00") for _ in range(length))]
    return some


def test_every_row_is_compared(other: cantools.database.can.Database) -> None:
    assert sum(len(message.signals) for message in other.messages) == len(signal_rows()) == 546


@pytest.mark.parametrize("pgn", sorted({row.pgn for row in signal_rows()}))
def test_our_values_are_theirs(other: cantools.database.can.Database, pgn: int) -> None:
    message = other.get_message_by_name(f"G{pgn}")
    rows = rows_of_group(pgn)
    numbers = 0
    for payload in payloads(message.length, pgn):
        scaled = message.decode(payload, decode_choices=False)
        plain = message.decode(payload, decode_choices=False, scaling=False)
        assert isinstance(scaled, dict)
        assert isinstance(plain, dict)
        assert len(scaled) == len(rows)
        for row in rows:
            raw = raw_of(payload, row)
            assert raw is not None
            assert raw == plain[f"S{row.spn}"]
            theirs = scaled[f"S{row.spn}"]
            assert isinstance(theirs, int | float)
            assert physical(raw, row) == pytest.approx(theirs, rel=1e-12, abs=1e-12)
            value, status = decode_value(payload, row)
            if status == NUMBER:
                numbers += 1
                assert value == physical(raw, row)
            else:
                assert value is None
    assert numbers > 0
