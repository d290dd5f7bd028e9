"""Calibration information of SAE J1939-73: DM19, records of 20 bytes.

Bytes 1-4 are the calibration verification number, 5-20 the calibration identification in ASCII,
filled up with 00 or spaces.
"""

from __future__ import annotations

from dataclasses import dataclass

from shearbolt.wire.texts import plain_text

RECORD_BYTES = 20
_NUMBER_BYTES = 4


@dataclass(frozen=True, slots=True)
class Calibration:
    """One record of DM19."""

    verification_number: int
    """Checksum of the calibration, little-endian."""
    identification: str | None
    """None: not available."""

    @property
    def verification_hex(self) -> str:
        """The checksum as eight hexadecimal digits."""
        return f"{self.verification_number:08X}"


def read_dm19(payload: bytes) -> tuple[Calibration, ...]:
    """Read DM19; records cut short, and those of FF alone, are left out."""
    records = []
    for first in range(0, len(payload) - RECORD_BYTES + 1, RECORD_BYTES):
        record = payload[first : first + RECORD_BYTES]
        if record == b"\xff" * RECORD_BYTES:
            continue
        verification = int.from_bytes(record[:_NUMBER_BYTES], "little")
        records.append(Calibration(verification, plain_text(record[_NUMBER_BYTES:])))
    return tuple(records)
