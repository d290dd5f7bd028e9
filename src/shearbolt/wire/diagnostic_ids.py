"""Which identifiers carry tester dialogue, who asks and who answers (ISO 15765-4; ISO 15765-2).

11 bit: 7DF asks all, 7E0 to 7E7 ask one, 7E8 to 7EF answer.
29 bit: 18DBxxF1 asks all, 18DAxxF1 asks one, 18DAF1xx answers; F1 is the tester.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from shearbolt.model.frames import EXTENDED, NOT_DATA, U8, U32

FUNCTIONAL_11 = 0x7DF
"""11-bit identifier of requests to all units."""
TESTER = 0xF1
"""Address of the tester in 29-bit identifiers."""
_PHYSICAL_29 = 0x18DA
_FUNCTIONAL_29 = 0x18DB


def is_diagnostic(ident: int, extended: bool) -> bool:
    """Tell whether frames of this identifier follow ISO 15765-2 between tester and unit."""
    return is_request(ident, extended) or is_answer(ident, extended)


def is_request(ident: int, extended: bool) -> bool:
    """Tell whether the tester sends this identifier."""
    if not extended:
        return ident == FUNCTIONAL_11 or 0x7E0 <= ident <= 0x7E7
    if ident & 0xFF != TESTER:
        return False
    top = ident >> 16
    return top == _FUNCTIONAL_29 or (top == _PHYSICAL_29 and ident >> 8 & 0xFF != TESTER)


def is_answer(ident: int, extended: bool) -> bool:
    """Tell whether a control unit sends this identifier to the tester."""
    if not extended:
        return 0x7E8 <= ident <= 0x7EF
    return ident >> 8 == (_PHYSICAL_29 << 8 | TESTER) and ident & 0xFF != TESTER


def is_functional(ident: int, extended: bool) -> bool:
    """Tell whether this identifier asks all units at once."""
    if not extended:
        return ident == FUNCTIONAL_11
    return ident >> 16 == _FUNCTIONAL_29 and ident & 0xFF == TESTER


def partner(ident: int, extended: bool) -> int | None:
    """Give the identifier of the other direction: whose flow control steers this one's message.

    None for requests to all, which have no single partner, and for other identifiers.
    """
    if is_functional(ident, extended) or not is_diagnostic(ident, extended):
        return None
    if not extended:
        return ident ^ 8
    return ident & ~0xFFFF | (ident & 0xFF) << 8 | ident >> 8 & 0xFF


def diagnostic_mask(ident: U32, flags: U8) -> npt.NDArray[np.bool_]:
    """Tell for n frames at once which of them `is_diagnostic` is true of.

    `ident` and `flags` are the columns of Frames, shape (n,); the result has the same shape.
    Remote and error frames carry no data and are never among them.
    """
    low = ident & 0xFF
    high = ident >> 8 & 0xFF
    top = ident >> 16
    standard = (ident == FUNCTIONAL_11) | ((ident >= 0x7E0) & (ident <= 0x7EF))
    physical = (top == _PHYSICAL_29) & ((low == TESTER) ^ (high == TESTER))
    functional = (top == _FUNCTIONAL_29) & (low == TESTER)
    wide = (flags & EXTENDED) != 0
    chosen: npt.NDArray[np.bool_] = np.where(wide, physical | functional, standard)
    chosen &= (flags & NOT_DATA) == 0
    return chosen
