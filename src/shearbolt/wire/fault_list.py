"""Lists of codes in the layout of DM1 (SAE J1939-73 5.7.1): two lamp bytes, then codes.

The lamps belong to the whole message (the worst of all codes), and are kept where no code is
listed. 'No fault' is SPN 0 FMI 0 (00 00 00 00), or all bits set in an older form; FF after the
last code is padding. None of these makes a fault.
"""

from __future__ import annotations

from dataclasses import dataclass

from shearbolt.model.fault import Dtc, Lamps
from shearbolt.wire.dtc import DTC_BYTES, means_no_fault, read_dtc
from shearbolt.wire.lamps import read_lamps

LAMP_BYTES = 2
_PADDING = (b"\x00", b"\xff")


@dataclass(frozen=True, slots=True)
class FaultList:
    """One message of DM1 layout."""

    lamps: Lamps
    dtcs: tuple[Dtc, ...]
    """In the order sent, 'no fault' left out."""
    rest: bytes = b""
    """Bytes at the end that are neither a whole code nor padding."""

    @property
    def all_clear(self) -> bool:
        """Tell whether no fault is listed (a lamp may be lit all the same)."""
        return not self.dtcs


def read_fault_list(payload: bytes) -> FaultList | None:
    """Read a message of DM1 layout (DM1, 2, 6, 12, 23, 27, 28).

    None when it is too short for its lamp bytes.
    """
    if len(payload) < LAMP_BYTES:
        return None
    whole = (len(payload) - LAMP_BYTES) // DTC_BYTES
    end = LAMP_BYTES + whole * DTC_BYTES
    dtcs = []
    for first in range(LAMP_BYTES, end, DTC_BYTES):
        dtc = read_dtc(payload[first : first + DTC_BYTES])
        if dtc is not None and not means_no_fault(dtc):
            dtcs.append(dtc)
    rest = payload[end:]
    padding = any(rest == one * len(rest) for one in _PADDING)
    return FaultList(
        read_lamps(payload[0], payload[1]), tuple(dtcs), b"" if padding else bytes(rest)
    )
