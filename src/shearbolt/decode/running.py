"""Engine speed and hours as the bus told them: when the engine turned, what the meter said."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shearbolt.decode.columns import GroupRun
from shearbolt.decode.presence import Sender, Stretches
from shearbolt.model.frames import I64
from shearbolt.model.instants import SECOND_US
from shearbolt.model.signal import NUMBER

ENGINE_SPEED = 190
ENGINE_HOURS = 247
TURNING_RPM = 300.0
"""Above the speed of any starter, below any idle (common practice, no source)."""


@dataclass(slots=True)
class _Meter:
    first_us: int
    first_h: float
    last_us: int
    last_h: float


class Running:
    """When the engine turned, and total engine hours by sender."""

    def __init__(self) -> None:
        self.turning = Stretches()
        self._standing = Stretches()
        self._last_turning_us: int | None = None
        self._meters: dict[Sender, _Meter] = {}

    def feed(self, group: GroupRun) -> None:
        """Take one group of a block."""
        if group.decoded is None:
            return
        for i, row in enumerate(group.rows):
            if row.spn == ENGINE_SPEED:
                self._speed(group, i)
            elif row.spn == ENGINE_HOURS:
                self._hours(group, i)

    def _speed(self, group: GroupRun, i: int) -> None:
        assert group.decoded is not None
        good = group.decoded.status[i] == NUMBER
        turning = good & (group.decoded.value[i] > TURNING_RPM)
        when = group.time_us[turning]
        _add(self.turning, when)
        _add(self._standing, group.time_us[good & ~turning])
        if len(when):
            last = int(when.max())
            self._last_turning_us = max(last, self._last_turning_us or last)

    def _hours(self, group: GroupRun, i: int) -> None:
        assert group.decoded is not None
        good = np.flatnonzero(group.decoded.status[i] == NUMBER)
        if not len(good):
            return
        sender = group.channel, group.source
        first, last = int(good[0]), int(good[-1])
        value, when = group.decoded.value[i], group.time_us
        meter = self._meters.get(sender)
        if meter is None:
            self._meters[sender] = _Meter(
                int(when[first]), float(value[first]), int(when[last]), float(value[last])
            )
        else:
            meter.last_us, meter.last_h = int(when[last]), float(value[last])

    def hours(self, channels: tuple[str, ...]) -> tuple[tuple[str, int, int, float], ...]:
        """Return the first and last reading of every meter: channel, address, instant, hours."""
        told: list[tuple[str, int, int, float]] = []
        for (channel, address), meter in sorted(self._meters.items()):
            told.append((channels[channel], address, meter.first_us, round(meter.first_h, 4)))
            if meter.last_us != meter.first_us:
                told.append((channels[channel], address, meter.last_us, round(meter.last_h, 4)))
        return tuple(told)

    def hours_of(self, sender: Sender) -> tuple[float | None, float | None]:
        """Return the first and last hours that a sender told."""
        meter = self._meters.get(sender)
        if meter is None:
            return None, None
        return round(meter.first_h, 4), round(meter.last_h, 4)

    @property
    def last_turning_us(self) -> int | None:
        """When the engine was last heard turning; None: never."""
        return self._last_turning_us

    def stands_at(self, second: int) -> bool:
        """Tell whether the engine was last heard standing about then, not turning."""
        return self._standing.end_after(second * SECOND_US) is not None and (
            self._last_turning_us is None
            or not any(first <= second + 1 <= last for first, last in self.turning.spans)
        )

    def stopped_by(self, at_us: int) -> bool:
        """Tell whether engine speed was heard, and no longer as turning at an instant."""
        heard = bool(self.turning.spans or self._standing.spans)
        return heard and (
            self._last_turning_us is None or self._last_turning_us < at_us + SECOND_US
        )


def _add(stretches: Stretches, time_us: I64) -> None:
    """Add instants in the order of the recording."""
    if len(time_us):
        second = time_us // SECOND_US
        fresh = np.flatnonzero(np.diff(second, prepend=second[0] - 1))
        stretches.add_runs(np.unique(second[fresh]))
