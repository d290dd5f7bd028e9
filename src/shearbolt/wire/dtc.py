"""Diagnostic trouble codes of SAE J1939-73 5.7.1: four bytes, and the four ways to read them.

Method 4 is the current one; its conversion-method bit is 0. The older methods 1 to 3 all set the
bit, and one code cannot say which of them its sender uses:

| method | byte 1 | byte 2 | byte 3, bits 8-6 |
| 1 | SPN bits 19-12 | SPN bits 11-4 | SPN bits 3-1 |
| 2 | SPN bits 11-4 | SPN bits 19-12 | SPN bits 3-1 |
| 3 and 4 | SPN bits 8-1 | SPN bits 16-9 | SPN bits 19-17 |

Byte 3 bits 5-1 are the FMI, byte 4 bit 8 the conversion-method bit, bits 7-1 the occurrence count.
(Some public manuals state the bit the wrong way round; the standard's sense is 0 = method 4.)
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from shearbolt.model.fault import COUNT_NONE, MAKER_SPN, Dtc

DTC_BYTES = 4
NO_SPN = 524287
"""All bits set."""
NO_FMI = 31
"""All bits set; with a real SPN it means 'condition exists'."""
OLD_METHODS = (1, 2, 3)
_OLD_BIT = 0x80


@dataclass(frozen=True, slots=True)
class Settled:
    """How the codes of one sender are to be read."""

    method: int
    """4: current; 1, 2 or 3: settled; 0: not settled between `candidates`."""
    candidates: tuple[int, ...]
    """Methods that may be meant; the settled one alone when there is one."""

    def spns(self, raw: bytes) -> tuple[int, ...]:
        """Return the SPNs that a code may mean, each once; one alone when it is certain."""
        if not raw[3] & _OLD_BIT:
            return (spn_by_method(raw, 4),)
        methods = self.candidates if self.method in (0, *OLD_METHODS) else (3,)
        return tuple(dict.fromkeys(spn_by_method(raw, one) for one in methods))


def read_dtc(raw: bytes) -> Dtc | None:
    """Read four bytes by method 4; None for fewer bytes. Bytes after the fourth are ignored."""
    if len(raw) < DTC_BYTES:
        return None
    count = raw[3] & 0x7F
    return Dtc(
        spn_by_method(raw, 4),
        raw[2] & 0x1F,
        None if count == COUNT_NONE else count,
        bytes(raw[:DTC_BYTES]),
    )


def spn_by_method(raw: bytes, method: int) -> int:
    """Read the SPN of a code by conversion method 1 to 4.

    `raw` has at least three bytes. Raises ValueError for another method or fewer bytes.
    """
    if len(raw) < 3:
        raise ValueError(f"an SPN and FMI take 3 bytes, not {len(raw)}")
    first, second, top = raw[0], raw[1], raw[2] >> 5
    if method == 1:
        return (first << 8 | second) << 3 | top
    if method == 2:
        return (second << 8 | first) << 3 | top
    if method in (3, 4):
        return first | second << 8 | top << 16
    raise ValueError(f"conversion methods are 1 to 4, not {method}")


def means_no_fault(dtc: Dtc) -> bool:
    """Tell whether a code stands for 'no fault': SPN 0 FMI 0, or all bits set (J1939-73)."""
    return (dtc.spn, dtc.fmi) in ((0, 0), (NO_SPN, NO_FMI))


def settle_method(raws: Iterable[bytes], known_spns: Callable[[int], bool]) -> Settled:
    """Find the conversion method of one sender from all codes ever seen from it.

    `raws`: codes of four bytes each; shorter ones are left out. `known_spns` tells whether an SPN
    is in the public list. Sense (SAE J1939-73; the procedure is our own, reference sheet 2.3):

    * Codes without the old bit settle nothing; if there are no others, the method is 4.
    * For every other code, the methods that give a listed SPN survive. Where none does, those that
      give a maker's SPN (from 520192) do: such numbers are in no list, and by chance only one wrong
      reading in 128 lands there, so they count, but never against a listed SPN. Where none of
      that is so either, the code tells nothing (our list is not complete).
    * The method that survives every code is the sender's. Of several, method 3 wins, because its
      layout is that of method 4, but not on the word of a single code: that stays open.
    * If none survives every code, those that survive most codes are the candidates.
    """
    codes = {bytes(raw[:3]) for raw in raws if len(raw) >= DTC_BYTES and raw[3] & _OLD_BIT}
    if not codes:
        return Settled(4, (4,))
    votes = [one for one in (_surviving(code, known_spns) for code in codes) if one]
    if not votes:
        return Settled(0, OLD_METHODS)
    support = {method: sum(method in one for one in votes) for method in OLD_METHODS}
    best = max(support.values())
    left = tuple(method for method in OLD_METHODS if support[method] == best)
    if best < len(votes):
        return Settled(0, left)
    if len(left) == 1:
        return Settled(left[0], left)
    if 3 in left and len(votes) > 1:
        return Settled(3, (3,))
    return Settled(0, left)


def _surviving(code: bytes, known_spns: Callable[[int], bool]) -> frozenset[int]:
    spns = {method: spn_by_method(code, method) for method in OLD_METHODS}
    listed = frozenset(method for method, spn in spns.items() if known_spns(spn))
    return listed or frozenset(method for method, spn in spns.items() if spn >= MAKER_SPN)
