"""Read the column `state_texts` of a signal table: codes with a name, and what is only a remark.

The forms, all of them in `data/signals.csv`:

* ``0 off,1 on,2 error,3 not available`` - raw codes with their names (unit 'state');
* ``1..5 level`` and ``10.. more`` - a run of codes, the open one up to the next that is named;
* ``raw 254 error`` and ``126 (raw 251) park`` - raw codes of a quantity that has a unit;
* ``raw 8..14 not used`` - raw codes that mean nothing;
* ``0 neutral`` - in a quantity with a unit, a physical value (a value out of range is a raw code);
* anything else is a remark.
"""

from __future__ import annotations

import re

from shearbolt.errors import DictionaryError

_CODE = re.compile(r"([0-9]{1,9})(?:(\.\.)([0-9]{1,9})?)? (.+)", re.DOTALL)
_RAW = re.compile(r"raw ([0-9]{1,9})(?:\.\.([0-9]{1,9}))? ([^=\s].*)", re.DOTALL)
_NAMED = re.compile(r"-?[0-9]{1,9}(?:\.[0-9]{1,9})? \(raw ([0-9]{1,9})\) (.+)", re.DOTALL)
_VALUE = re.compile(r"(-?[0-9]{1,9}(?:\.[0-9]{1,9})?) ([a-z][a-z ]*)")

_LONGEST_RUN = 256
"""A longer run is a slip of the pen."""

States = tuple[tuple[int, str], ...]


def read_states(
    text: str,
    unit: str,
    length_bits: int,
    resolution: float,
    offset: float,
    low: float,
    high: float,
) -> tuple[States, str]:
    """Split a `state_texts` field into named raw codes (in rising order) and a remark.

    Raises DictionaryError when a code does not fit the field or is named twice.
    """
    if not text:
        return (), ""
    if unit == "state":
        found, remarks = _codes(text, length_bits)
    else:
        found, remarks = _of_quantity(text, resolution, offset, low, high)
    if not found:
        return (), text
    states: dict[int, str] = {}
    for code, name in found:
        if code >> length_bits:
            raise DictionaryError(f"code {code} ('{name}') does not fit {length_bits} bits")
        if code in states:
            raise DictionaryError(f"code {code} is named twice: '{states[code]}' and '{name}'")
        states[code] = name
    return tuple(sorted(states.items())), ", ".join(remarks)


def _codes(text: str, length_bits: int) -> tuple[list[tuple[int, str]], list[str]]:
    """Read a list of raw codes; a comma divides only where a number follows it."""
    found: list[tuple[int, str]] = []
    remarks: list[str] = []
    open_run: tuple[int, str] | None = None
    for part in re.split(r",(?=[0-9])", text):
        hit = _CODE.fullmatch(part)
        if hit is None:
            remarks.append(part)
            continue
        first, dots, last, name = int(hit[1]), hit[2], hit[3], hit[4]
        if open_run is not None:
            found += [(code, open_run[1]) for code in range(open_run[0], first)]
            open_run = None
        if dots and last is None:
            open_run = (first, name)
        else:
            found += _run(first, last, name)
    if open_run is not None:
        # Without a later name the run leaves the highest code to 'not available'.
        found += [
            (code, open_run[1]) for code in range(open_run[0], (1 << min(length_bits, 8)) - 1)
        ]
    return found, remarks


def _run(first: int, last: str | None, name: str) -> list[tuple[int, str]]:
    """Name every code of a run; without a last one, the first alone."""
    end = int(last) if last else first
    if not first <= end < first + _LONGEST_RUN:
        raise DictionaryError(f"'{first}..{last} {name}' is no run of codes from low to high")
    return [(code, name) for code in range(first, end + 1)]


def _of_quantity(
    text: str, resolution: float, offset: float, low: float, high: float
) -> tuple[list[tuple[int, str]], list[str]]:
    """Read the codes among the remarks on a quantity with a unit."""
    found: list[tuple[int, str]] = []
    remarks: list[str] = []
    for part in (piece.strip() for piece in re.split(r",|; ", text)):
        if hit := _RAW.fullmatch(part):
            found += _run(int(hit[1]), hit[2], hit[3])
        elif hit := _NAMED.fullmatch(part):
            found.append((int(hit[1]), hit[2]))
        elif hit := _VALUE.fullmatch(part):
            value = float(hit[1])
            if low <= value <= high:
                found.append((round((value - offset) / resolution), hit[2]))
            elif value >= 0 and value.is_integer():
                found.append((int(value), hit[2]))
            else:
                remarks.append(part)
        else:
            remarks.append(part)
    return found, remarks
