"""Which raw counts of a field are numbers: the raw-value rules of SAE J1939-71.

| width | number | error | not available |
| 1 bit | 0-1 | - | - |
| 2 bits | 0-1 | 2 | 3 |
| other widths under 8 bits | up to all ones less 2 | all ones less 1 | all ones |
| bytes | top byte 00-FA | top byte FE | top byte FF |

Top byte FB is 'parameter specific' and FC-FD is reserved: no numbers. In wide fields the top byte
alone decides, so FFxx is 'not available' for every xx. Widths from 9 bits that are no whole bytes
go by their upper eight bits in the same way (by analogy, no source).

A row overrides this where it says so itself:

* **State lists** (unit 'state', under 8 bits): a code with a plain name is a number; 'error' and
  names that end in ' error' are errors; 'not available' and 'no action' are absent; 'reserved' is
  no number. A code without a name is no number (SPN 3697: 2, 3, 5, 6), but where the list is
  silent all ones stays 'not available' and code 2 of two bits stays 'error'. So code 2 of SPN 695
  or 3700 and code 3 of SPN 3041 are numbers. 'Non-recoverable fault' in the error code of a
  three-bit status (ISO 11783-7) is an error.
* **'FMI 0-30; 31 = not available'** (preliminary FMI, five bits): numbers up to 30.
* **Named raw codes** of a quantity: SPN 523 and 524 raw 251 'park' is a number (126); SPN 4154
  raw 8-14 'not used' is none.
* **A range to the very end** (`high` is the value of all ones): no codes at all, every count is a
  number (DM29 counts, SPN 3525, the fields of a NAME).
* **Source addresses** (SPN 1482, 1483): up to 253 are addresses; 254 is 'null' and 255 'all', which
  no unit ever has (SAE J1939-21 5.2.5), so neither tells who is in control.
* **ASCII** (unit 'ASCII', or the remark 'ASCII characters'): the last character FF is 'not
  available', all zero is an error.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Literal, NamedTuple

from shearbolt.model.layout import SignalRow

# The codes of model.signal, which imports NumPy; the dictionary must load without it.
NUMBER, NOT_AVAILABLE, ERROR, NO_NUMBER = 0, 1, 2, 3

Kind = Literal["number", "error", "absent", "reserved"]


class RawRules(NamedTuple):
    """Borders between the raw counts of one field. Read them in the order of `status_of`."""

    number_top: int
    """Largest count that is a number."""
    error_low: int
    """First error count; above `error_high` when there is none."""
    error_high: int
    """Last error count."""
    absent_low: int
    """First 'not available' count; above all ones when there is none."""
    reserved: tuple[int, ...] = ()
    """Counts up to `number_top` that mean nothing (fields under 8 bits only)."""


NULL_ADDRESS = 254
NONE_LOW, NONE_HIGH = 1, 0
"""An empty error range."""


def status_of(raw: int, rules: RawRules) -> int:
    """Give the status of a raw count: error, then absent, then reserved, then number.

    Returns NUMBER, NOT_AVAILABLE, ERROR or NO_NUMBER of model.signal.
    """
    if rules.error_low <= raw <= rules.error_high:
        return ERROR
    if raw >= rules.absent_low:
        return NOT_AVAILABLE
    if raw <= rules.number_top and raw not in rules.reserved:
        return NUMBER
    return NO_NUMBER


def is_text(row: SignalRow) -> bool:
    """Tell whether a row holds characters instead of a quantity."""
    return row.unit == "ASCII" or "ASCII characters" in row.note


@lru_cache(maxsize=4096)
def raw_rules(row: SignalRow) -> RawRules:
    """Give the borders between numbers, errors and absent values of one row (see the module)."""
    full = (1 << row.length_bits) - 1
    if is_text(row):
        last = row.length_bits - 8
        return RawRules((0xFF << last) - 1, 0, 0, 0xFF << last) if last >= 0 else _general(1)
    if row.unit == "state" and row.states and row.length_bits < 8:
        return _by_list(row, full)
    if row.note.startswith("FMI 0-30; 31 = not available") and row.length_bits == 5:
        return RawRules(30, NONE_LOW, NONE_HIGH, 31)
    if row.name.startswith("Source address") and row.length_bits == 8:
        return RawRules(NULL_ADDRESS - 1, NONE_LOW, NONE_HIGH, NULL_ADDRESS)
    reaches = round((row.high - row.offset) / row.resolution)
    if row.unit != "state" and row.length_bits < 64 and reaches >= full:
        return RawRules(full, NONE_LOW, NONE_HIGH, full + 1)
    return _with_names(_general(row.length_bits), row)


def _general(bits: int) -> RawRules:
    """Borders by width alone."""
    full = (1 << bits) - 1
    if bits == 1:
        return RawRules(1, NONE_LOW, NONE_HIGH, 2)
    if bits < 8:
        return RawRules(full - 2, full - 1, full - 1, full)
    low = bits - 8
    return RawRules((0xFB << low) - 1, 0xFE << low, (0xFF << low) - 1, 0xFF << low)


def _kind(name: str, *, error_code: bool) -> Kind:
    """Tell what a named code is; `error_code`: it stands where the width puts 'error'."""
    if name == "error" or name.endswith(" error"):
        return "error"
    if error_code and name.startswith("non-recoverable fault"):
        return "error"
    if name.startswith(("not available", "no action")):
        return "absent"
    if name.startswith(("reserved", "not used")):
        return "reserved"
    return "number"


def _by_list(row: SignalRow, full: int) -> RawRules:
    """Borders by the row's own list of states."""
    bits = row.length_bits
    names = dict(row.states)
    kinds: list[Kind] = []
    for code in range(full + 1):
        if code in names:
            kinds.append(_kind(names[code], error_code=code == full - 1))
        elif bits > 1 and code == full:
            kinds.append("absent")
        elif bits == 2 and code == 2:
            kinds.append("error")
        else:
            kinds.append("reserved" if bits > 1 else "number")
    top = max((code for code in range(full + 1) if kinds[code] == "number"), default=-1)
    absent = full + 1
    while absent > top + 1 and kinds[absent - 1] == "absent":
        absent -= 1
    error_high = max((code for code in range(full + 1) if kinds[code] == "error"), default=-1)
    error_low = error_high
    while error_low > 0 and kinds[error_low - 1] == "error":
        error_low -= 1
    if error_high < 0:
        error_low, error_high = NONE_LOW, NONE_HIGH
    # Only one run of errors has a place of its own; a stray one below it is no number either.
    stray = (
        code
        for code in range(max(top, 0))
        if kinds[code] != "number" and not error_low <= code <= error_high
    )
    return RawRules(top, error_low, error_high, absent, tuple(stray))


def _with_names(rules: RawRules, row: SignalRow) -> RawRules:
    """Let named raw codes of a quantity move the borders that its width gives."""
    top, reserved = rules.number_top, []
    for code, name in row.states:
        kind = _kind(name, error_code=False)
        if kind == "number" and code == top + 1:
            top = code
        elif kind == "reserved" and code <= top:
            reserved.append(code)
    while top in reserved:
        reserved.remove(top)
        top -= 1
    # Codes between the last number and 'not available' that are named 'not used' are no errors.
    errors_named_away = {code for code, name in row.states if name.startswith("not used")}
    if rules.error_low in errors_named_away and rules.error_low == rules.error_high:
        return RawRules(top, NONE_LOW, NONE_HIGH, rules.absent_low, tuple(reserved))
    return rules._replace(number_top=top, reserved=tuple(reserved))
