"""Where a signal lies in its group: one row of the signal table, ours or the owner's."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SignalRow:
    """One parameter (SPN) in one parameter group, by SAE J1939-71 conventions."""

    spn: int
    """Suspect parameter number."""
    name: str
    """Plain name."""
    pgn: int
    """Parameter group number."""
    acronym: str
    """Short name of the group."""
    start_byte: int
    """First byte, counted from 1."""
    start_bit: int
    """First bit in that byte, counted from 1 (least significant)."""
    length_bits: int
    """Width in bits, 1 to 64."""
    resolution: float
    """Physical step of one raw count, in `unit`."""
    offset: float
    """Physical value of raw zero, in `unit`."""
    unit: str
    """Unit of the physical value; 'state' for listed states, 'ASCII' for text."""
    low: float
    """Lowest physical value of the valid range."""
    high: float
    """Highest physical value of the valid range."""
    states: tuple[tuple[int, str], ...] = ()
    """Raw values with a name of their own."""
    note: str = ""
    """What the table says beside the states."""
    source: str = ""
    """Where the row comes from."""
    address: int | None = None
    """Only from this source address (owner's rows); None: from any."""
    owner: bool = False
    """An owner's own row: shown as such, and never calms an alarm."""

    @property
    def first_bit(self) -> int:
        """First bit counted from 0 over the whole group."""
        return (self.start_byte - 1) * 8 + self.start_bit - 1
