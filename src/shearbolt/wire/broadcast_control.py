"""Stop and start of broadcasts, DM13 (PGN 57088, SAE J1939-73): listened to, never sent.

| byte | bits 2-1 | 4-3 | 6-5 | 8-7 |
| 1 | network 1 | J1922 | J1587 | current link |
| 2 | maker's port | J1850 | ISO 9141 | network 2 |
| 3 | | | | network 3 |
| 4 | bits 4-1: suspend signal, 8-5: hold signal | | | |
| 5-6 | seconds of the suspension | | | |

A stop without a repeated hold lapses after 6 s (from memory); until then DM1 may be silent without
anything being healed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from shearbolt.model.instants import SECOND_US
from shearbolt.wire.raw_values import number

BROADCAST_CONTROL = 57088
LAPSE_US = 6 * SECOND_US
Command = Literal["stop", "start"]
_COMMANDS: tuple[Command | None, ...] = ("stop", "start", None, None)
_PLACES = {
    "network_1": (1, 0),
    "j1922": (1, 2),
    "j1587": (1, 4),
    "current_link": (1, 6),
    "maker_port": (2, 0),
    "j1850": (2, 2),
    "iso_9141": (2, 4),
    "network_2": (2, 6),
    "network_3": (3, 6),
}
_NOT_AVAILABLE = 0xF


@dataclass(frozen=True, slots=True)
class BroadcastControl:
    """One DM13."""

    commands: tuple[tuple[str, Command], ...]
    """Network and what it must do; networks to be left alone are not listed."""
    suspend_signal: int | None
    """As sent, 0 to 14; None: not available."""
    hold_signal: int | None
    """As sent, 0 to 14; None: not available."""
    suspend_s: int | None
    """None: not told."""

    @property
    def stops(self) -> bool:
        """Tell whether it stops this network (network 1 or the current link)."""
        return ("network_1", "stop") in self.commands or ("current_link", "stop") in self.commands

    @property
    def holds(self) -> bool:
        """Tell whether it renews a stop."""
        return self.hold_signal is not None


def read_dm13(payload: bytes) -> BroadcastControl | None:
    """Read DM13; None when it is shorter than its first four bytes."""
    if len(payload) < 4:
        return None
    commands: list[tuple[str, Command]] = []
    for name, (byte, shift) in _PLACES.items():
        command = _COMMANDS[payload[byte - 1] >> shift & 3]
        if command is not None:
            commands.append((name, command))
    suspend, hold = payload[3] & 0xF, payload[3] >> 4
    return BroadcastControl(
        tuple(commands),
        None if suspend == _NOT_AVAILABLE else suspend,
        None if hold == _NOT_AVAILABLE else hold,
        number(payload, 5, 2),
    )
