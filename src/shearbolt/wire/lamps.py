"""Lamp bytes of SAE J1939-73 5.7.1: byte 1 states, byte 2 flashing, two bits a lamp.

| bits | 8-7 | 6-5 | 4-3 | 2-1 |
| lamp | MIL | red stop | amber warning | protect |

State: 00 off, 01 on, 10 reserved, 11 not available. Flashing: 00 slow (1 Hz), 01 fast (2 Hz or
more), 10 reserved, 11 none. The flash bits are read only for a lit lamp: older senders leave them
00, which would look like slow flashing of every lamp.
"""

from __future__ import annotations

from typing import Final

from shearbolt.model.fault import Lamp, Lamps

_OFF, _LIT = 0, 1
_FLASH: Final[tuple[Lamp, Lamp, Lamp, Lamp]] = ("slow", "fast", "on", "on")


def read_lamps(states: int, flashing: int = 0xFF) -> Lamps:
    """Read the two lamp bytes; without a flash byte (FF) lit lamps are steady.

    A lamp whose state is reserved or not available is None.
    """
    return Lamps(
        mil=_lamp(states, flashing, 6),
        red_stop=_lamp(states, flashing, 4),
        amber_warning=_lamp(states, flashing, 2),
        protect=_lamp(states, flashing, 0),
    )


def _lamp(states: int, flashing: int, shift: int) -> Lamp | None:
    state = states >> shift & 3
    if state == _LIT:
        return _FLASH[flashing >> shift & 3]
    return "off" if state == _OFF else None
