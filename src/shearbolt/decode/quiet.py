"""When senders fell silent, and why: the key turned off, one unit lost, or the recording paused.

At key-off the units of a machine go quiet within some seconds of each other, an engine controller
up to 20 s later (measured on an open recording); one box may hold several NAMEs and counts once.
One that is quiet while the others live on, or while the engine turns, fell silent alone.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from shearbolt.decode.presence import JOIN_S, Presence, Sender, Stretches
from shearbolt.decode.running import Running
from shearbolt.model.instants import SECOND_US
from shearbolt.wire.broadcast_control import LAPSE_US, BroadcastControl
from shearbolt.wire.identifier import NO_ADDRESS, TO_ALL

KEY_OFF_SPREAD_S = 30
"""Controllers of one machine fall silent within this time of each other at key-off (measured on
an open recording of a tractor: up to 18 s)."""
RUNS_ON_S = 3
"""An engine that turned for this long after a unit fell silent was not being switched off."""
SLOW_S = 10
"""One that never speaks several times a second is silent only when unheard for longer than this."""
RESTART_S = 5
"""Address claims within this time after a pause tell that the machine was started again."""
COMES_ALONG = frozenset({*range(249, 252), NO_ADDRESS, TO_ALL})
"""Addresses of service tools and loggers, which live on batteries of their own, and of nobody."""

Why = Literal["key_off", "silence", "pause"]


@dataclass(frozen=True, slots=True)
class Silent:
    """One stretch in which a sender was not heard."""

    from_s: int
    """Last second in which it was heard."""
    until_s: int | None
    """First second in which it was heard again; None: never."""
    why: Why


@dataclass(frozen=True, slots=True)
class SenderQuiet:
    """What the end of a listing of one sender is judged by."""

    alive: Stretches
    silent: tuple[Silent, ...]
    key_offs_us: tuple[int, ...]
    """When others that speak often fell silent because the key was turned off. A controller in
    its after-run lives on past it, often without reporting."""
    end_us: int
    """Last frame of the recording."""
    stopped_us: tuple[tuple[int, int], ...] = ()
    """Stretches in which broadcasts were stopped by DM13."""

    def lived_us(self, first_us: int, last_us: int) -> int:
        """Return how long it lived, free to report, between two instants."""
        stopped = sum(
            max(0, min(last_us, end) - max(first_us, start)) for start, end in self.stopped_us
        )
        return max(0, self.alive.covered_s(first_us, last_us) * SECOND_US - stopped)

    def silence_between(self, first_us: int, last_us: int) -> Silent | None:
        """Return the first time that it fell silent by itself or at key-off in a stretch."""
        first, last = first_us // SECOND_US, last_us // SECOND_US
        for one in self.silent:
            if one.why != "pause" and first <= one.from_s < last:
                return one
        return None

    def last_silence(self) -> Why:
        """Say why it spoke no more at the end of the recording, where it did not."""
        last = self.silent[-1] if self.silent else None
        return last.why if last is not None and last.until_s is None else "silence"

    def near_key_off(self, at_us: int, slack_us: int) -> bool:
        """Tell whether the key was turned off about at an instant, as others told."""
        return any(abs(one - at_us) <= slack_us for one in self.key_offs_us)


class BroadcastStops:
    """Stretches in which DM13 kept senders from reporting, by channel (SAE J1939-73)."""

    def __init__(self) -> None:
        self._stops: dict[int, list[list[int]]] = {}

    def feed(self, time_us: int, channel: int, control: BroadcastControl) -> None:
        """Take one DM13: a stop lapses after 6 s unless it is renewed."""
        stops = self._stops.setdefault(channel, [])
        stopped = bool(stops) and stops[-1][1] >= time_us
        if control.stops:
            lasts_us = max(LAPSE_US, (control.suspend_s or 0) * SECOND_US)
            if stopped:
                stops[-1][1] = max(stops[-1][1], time_us + lasts_us)
            else:
                stops.append([time_us, time_us + lasts_us])
        elif ("network_1", "start") in control.commands and stopped:
            stops[-1][1] = time_us
        elif control.holds and stopped:
            stops[-1][1] = max(stops[-1][1], time_us + LAPSE_US)

    def on(self, channel: int) -> tuple[tuple[int, int], ...]:
        """Return the stretches of one channel."""
        return tuple((start, end) for start, end in self._stops.get(channel, ()))


class Silences:
    """Judges the silences of all senders of one recording, once it is read to its end."""

    def __init__(
        self,
        presence: Presence,
        running: Running,
        box_of: Callable[[Sender], Hashable],
        claims_us: Mapping[int, Sequence[int]],
        fast_until_us: Mapping[Sender, int],
        latest_us: int,
    ) -> None:
        """Take what was gathered.

        `box_of` says which physical unit a sender is, `claims_us` when addresses were claimed on
        each channel, `fast_until_us` the last word of each sender that speaks several times a
        second.
        """
        self._senders = presence.senders
        self._stills = [(a // SECOND_US, b // SECOND_US) for a, b in presence.stills]
        self._running = running
        self._box_of = box_of
        self._claims_us = claims_us
        self._fast_until_us = fast_until_us
        self._end_s = latest_us // SECOND_US
        self._breaks = {
            sender: self._silences(sender, one) for sender, one in self._senders.items()
        }
        self._silent = {
            sender: tuple(Silent(a, b, self._why(sender, a, b)) for a, b in some)
            for sender, some in self._breaks.items()
        }

    def of(self, sender: Sender) -> tuple[Silent, ...]:
        """Return when a sender was not heard, in the order of time."""
        return self._silent.get(sender, ())

    def key_offs_us(self, sender: Sender) -> tuple[int, ...]:
        """Return when the key was turned off, as the bus shows it to a sender that lives on.

        Other units that speak often fall silent, the engine stops; both are told.
        """
        found: list[int] = []
        box = self._box_of(sender)
        for other, until_us in self._fast_until_us.items():
            if other[0] != sender[0] or other == sender or self._box_of(other) == box:
                continue
            for one in self._silent.get(other, ()):
                if one.why == "key_off":
                    # The exact instant is known of the last word only.
                    last = one.until_s is None
                    found.append(until_us if last else (one.from_s + 1) * SECOND_US)
        stops = [last * SECOND_US for _, last in self._running.turning.spans[:-1]]
        if self._running.last_turning_us is not None:
            stops.append(self._running.last_turning_us)
        for off_us in tuple(found):
            before = [one for one in stops if 0 <= off_us - one <= KEY_OFF_SPREAD_S * SECOND_US]
            found.extend(before[-1:])
        return tuple(sorted(set(found)))

    def _silences(self, sender: Sender, stretches: Stretches) -> list[tuple[int, int | None]]:
        spans = stretches.spans
        least = 0 if sender in self._fast_until_us else SLOW_S
        found: list[tuple[int, int | None]] = [
            (last, first) for (_, last), (first, _) in pairwise(spans) if first - last > least
        ]
        if spans and self._end_s - spans[-1][1] >= 2:
            found.append((spans[-1][1], None))
        return found

    def _why(self, sender: Sender, last: int, back: int | None) -> Why:
        for start, end in self._stills:
            if back is not None and 0 <= start - last <= JOIN_S and 0 <= back - end <= RESTART_S:
                restarted = any(
                    0 <= at // SECOND_US - end <= RESTART_S
                    for at in self._claims_us.get(sender[0], ())
                )
                return "key_off" if restarted and self._running.stands_at(start) else "pause"
        turned_until = self._running.turning.end_after(last * SECOND_US)
        if turned_until is not None and turned_until - last > RUNS_ON_S:
            return "silence"
        gone, living = self._others(sender, last)
        if gone and gone >= living:
            return "key_off"
        near_end = self._end_s - last <= KEY_OFF_SPREAD_S
        if near_end and not living and self._running.stands_at(last):
            return "key_off"
        return "silence"

    def _others(self, sender: Sender, last: int) -> tuple[int, int]:
        """Count the other units that fell silent about then, and those that lived on."""
        own = self._box_of(sender)
        gone: set[Hashable] = set()
        living: set[Hashable] = set()
        for other, stretches in self._senders.items():
            box = self._box_of(other)
            if other[0] != sender[0] or other == sender or box == own or other[1] in COMES_ALONG:
                continue
            if any(abs(end - last) <= KEY_OFF_SPREAD_S for end, _ in self._breaks[other]):
                gone.add(box)
            elif any(a <= last and b > last + KEY_OFF_SPREAD_S for a, b in stretches.spans):
                living.add(box)
        return len(gone - living), len(living)
