"""Does the machine stand still, and does its engine turn? Told from its own readings alone.

| reading | group | standing still |
| --- | --- | --- |
| wheel-based vehicle speed, SPN 84 | 65265 | at most 0.5 km/h |
| wheel-based machine speed, SPN 1862 | 65096 | at most 0.5 km/h |
| ground-based machine speed, SPN 1859 | 65097 | at most 0.5 km/h |
| output shaft speed of the transmission, SPN 191 | 61442 | at most 10 rpm |

Layouts are those of the signal table; the limits are common practice, no source (half a km/h is
above the noise of a radar at rest and below a walk).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal

from shearbolt.decode.running import ENGINE_SPEED, TURNING_RPM
from shearbolt.dictionary.signals import row_of_spn
from shearbolt.model.instants import SECOND_US
from shearbolt.model.layout import SignalRow
from shearbolt.wire.raw_values import number

SPEED_SPNS = (84, 1862, 1859, 191)
STILL_KMH = 0.5
STILL_RPM = 10.0
STAND_US = 3 * SECOND_US
"""It must have stood for this long."""
FRESH_US = 2 * SECOND_US
"""A reading older than this says nothing about now; the slowest of the groups comes every
100 ms."""
_KMH = {"km/h": 1.0, "m/s": 3.6}

Engine = Literal["running", "turning", "stopped", "unknown"]
"""`turning`: below any idle, so perhaps cranking."""


@dataclass(frozen=True, slots=True)
class SpeedReading:
    """The last reading of one speed from one sender."""

    spn: int
    name: str
    address: int
    value: float
    unit: str
    age_s: float
    still: bool


@dataclass(frozen=True, slots=True)
class Stand:
    """What the readings say now."""

    standing: bool | None
    """None: they do not say (none is sent, or none is fresh)."""
    ever_told: bool
    """Some speed was heard as a number at some time."""
    speeds: tuple[SpeedReading, ...]
    engine: Engine
    engine_rpm: float | None


@dataclass(slots=True)
class _Speed:
    row: SignalRow
    address: int
    value: float
    at_us: int
    still_since_us: int | None


class Standstill:
    """Follows the speeds on one bus."""

    def __init__(self) -> None:
        self._speeds: dict[tuple[int, int], _Speed] = {}
        self._engines: dict[int, tuple[int, float]] = {}

    def hear(self, now_us: int, pgn: int, source: int, data: bytes) -> None:
        """Take one single-frame group."""
        for row in _rows().get(pgn, ()):
            raw = number(data, row.start_byte, row.length_bits // 8)
            if raw is None:
                continue
            value = raw * row.resolution + row.offset
            if row.spn == ENGINE_SPEED:
                self._engines[source] = now_us, value
            else:
                self.tell(now_us, row, source, value)

    def tell(self, now_us: int, row: SignalRow, source: int, value: float) -> None:
        """Take a speed that was read elsewhere."""
        key = row.spn, source
        before = self._speeds.get(key)
        since = None
        if _is_still(row, value):
            lasting = before is not None and now_us - before.at_us <= FRESH_US
            since = before.still_since_us if before is not None and lasting else None
            since = now_us if since is None else since
        self._speeds[key] = _Speed(row, source, value, now_us, since)

    def judge(self, now_us: int) -> Stand:
        """Tell how it stands at an instant."""
        speeds = list(self._speeds.values())
        fresh = [one for one in speeds if now_us - one.at_us <= FRESH_US]
        standing: bool | None = None
        if any(one.still_since_us is None for one in fresh):
            standing = False
        elif fresh:
            since = [one.still_since_us for one in fresh if one.still_since_us is not None]
            # Still, but not for long enough, is not known yet.
            standing = True if max(since) <= now_us - STAND_US else None
        engine, rpm = self._engine(now_us)
        return Stand(
            standing,
            bool(speeds),
            tuple(
                SpeedReading(
                    one.row.spn,
                    one.row.name,
                    one.address,
                    round(one.value, 3),
                    one.row.unit,
                    round((now_us - one.at_us) / SECOND_US, 3),
                    one.still_since_us is not None,
                )
                for one in sorted(speeds, key=lambda one: (one.row.spn, one.address))
            ),
            engine,
            rpm,
        )

    def _engine(self, now_us: int) -> tuple[Engine, float | None]:
        told = [rpm for at_us, rpm in self._engines.values() if now_us - at_us <= FRESH_US]
        if not told:
            return "unknown", None
        rpm = max(told)
        if rpm >= TURNING_RPM:
            return "running", round(rpm, 1)
        return ("turning" if rpm > 0 else "stopped"), round(rpm, 1)


def road_speed_row() -> SignalRow:
    """Give the row that a speed read by SAE J1979 (01 0D) is told under: vehicle speed, SPN 84."""
    return row_of_spn(84)[0]


def _is_still(row: SignalRow, value: float) -> bool:
    if row.unit in _KMH:
        return value * _KMH[row.unit] <= STILL_KMH
    return value <= STILL_RPM


@cache
def _rows() -> dict[int, tuple[SignalRow, ...]]:
    found: dict[int, tuple[SignalRow, ...]] = {}
    for spn in (*SPEED_SPNS, ENGINE_SPEED):
        for row in row_of_spn(spn):
            found[row.pgn] = (*found.get(row.pgn, ()), row)
    return found
