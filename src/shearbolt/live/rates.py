"""Finding the bit rate by listening only (SAE J1939-13: 250 kbit/s, or 500 on green plugs).

At a wrong rate no frame passes its own check, and an adapter that sees anything at all sees
errors; so one whole frame is nearly proof, and the rule asks for two. Pure.
"""

from __future__ import annotations

from typing import Literal

from shearbolt.model.instants import SECOND_US

RATES = (250_000, 500_000)
"""Rates tried, in this order (bit/s)."""
LOOK_US = SECOND_US
"""How long one rate is listened to: every bus that lives says something within a second."""
ENOUGH_GOOD = 2
ENOUGH_ERRORS = 10
"""Error frames without a single good one that settle a rate before its time is up."""

Verdict = Literal["found", "wrong", "silent", "wait"]


class RateFinder:
    """Judges one rate after another by the frames and error frames heard at it."""

    def __init__(self, rates: tuple[int, ...] = RATES, look_us: int = LOOK_US) -> None:
        self._rates = rates
        self._look_us = look_us
        self._at = 0
        self._since_us: int | None = None
        self._good = 0
        self._errors = 0
        self.wrong: set[int] = set()
        """Rates at which there was nothing but errors."""

    @property
    def bitrate(self) -> int:
        """The rate listened to now."""
        return self._rates[self._at]

    @property
    def none_fits(self) -> bool:
        """Tell whether every rate was found wrong: something is on the bus, at none of them."""
        return self.wrong == set(self._rates)

    def begin(self, now_us: int) -> None:
        """Begin to listen at the rate of the moment."""
        self._since_us, self._good, self._errors = now_us, 0, 0

    def hear(self, *, error: bool) -> None:
        """Count one frame."""
        if error:
            self._errors += 1
        else:
            self._good += 1

    def judge(self, now_us: int) -> Verdict:
        """Say what this rate is; after 'wrong' and 'silent' the next rate is the one of the moment.

        A rate is found when whole frames came and no more errors than frames.
        """
        if self._since_us is None:
            raise RuntimeError("begin() comes first")
        if self._good >= ENOUGH_GOOD and self._good >= self._errors:
            self.wrong.discard(self.bitrate)
            return "found"
        up = now_us - self._since_us >= self._look_us
        if not up and not (self._errors >= ENOUGH_ERRORS and not self._good):
            return "wait"
        verdict: Verdict = "wrong" if self._errors else "silent"
        if verdict == "wrong":
            self.wrong.add(self.bitrate)
        else:
            self.wrong.discard(self.bitrate)
        self._at = (self._at + 1) % len(self._rates)
        return verdict
