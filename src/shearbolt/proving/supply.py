"""What reaches a controller besides its sensors: its own feed, and the bus it speaks on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shearbolt.model.frames import F64
from shearbolt.proving.physics import Flags
from shearbolt.proving.sensing import moments
from shearbolt.proving.trace import Trace

ISOLATED_AFTER_S = 1.5
"""A hasty driver turns the battery switch so long after the key."""
CONTROLLER_A = 1.5
"""What one controller takes, 12 V."""
RESETS_BELOW_V = 6.0
"""Controllers reset below this (12 V system; double for 24 V); common practice: 5.5 to 7 V."""
ENGINE_RESETS_BELOW_V = 5.0
"""Engine controllers are made to live through cranking."""


def controller_volts(trace: Trace, controller: str, *, implement: bool = False) -> F64:
    """Return the voltage (V) at one controller's own plug.

    The engine's has the keyswitch voltage, an implement's what its plug carries, others the cab's;
    faults of its own feed come on top.
    """
    if implement:
        volts = trace.implement_v
    else:
        volts = trace.keyswitch_v if controller == "engine" else trace.cab_v
    if trace.plight.habits.isolates_early:
        ran = np.cumsum(~trace.key) * (trace.time_s[1] - trace.time_s[0])
        volts = np.where(ran > ISOLATED_AFTER_S, 0.0, volts)
    for one in trace.plight.feeds:
        if one.controller == controller:
            there = moments(trace, one.when, "feed", controller)
            lost = volts if np.isinf(one.ohm) else CONTROLLER_A * one.ohm
            volts = np.where(there, np.clip(volts - lost, 0.0, None), volts)
    return volts


def powered(trace: Trace, controller: str, *, implement: bool = False) -> Flags:
    """Tell at which steps a controller has voltage enough to work (key or no key)."""
    limit = ENGINE_RESETS_BELOW_V if controller == "engine" else RESETS_BELOW_V
    volts = controller_volts(trace, controller, implement=implement)
    return np.asarray(volts > limit * trace.build.volts / 12, np.bool_)


def outages(
    trace: Trace, controller: str, *, implement: bool = False, least_s: float = 0.05
) -> tuple[tuple[float, float], ...]:
    """Return when a controller is without power for at least `least_s`: (from, to) in seconds."""
    dark = ~powered(trace, controller, implement=implement)
    edges = np.flatnonzero(np.diff(dark.astype(np.int8), prepend=0, append=0))
    step = float(trace.time_s[1] - trace.time_s[0]) if len(trace.time_s) > 1 else 0.05
    return tuple(
        (float(first) * step, float(last) * step)
        for first, last in zip(edges[::2], edges[1::2], strict=True)
        if (last - first) * step >= least_s
    )


@dataclass(frozen=True, slots=True)
class BusState:
    """How one bus fares, one value a step."""

    lost_share: F64
    """Share of frames that never make it (destroyed, and given up or sent again too late)."""
    errors_a_s: F64
    """Error frames a second that a listening adapter counts."""
    mute: dict[str, Flags]
    """By controller: powered, but sends nothing."""
    babble_a_s: dict[str, F64]
    """By controller: senseless frames a second."""


def bus_state(trace: Trace, channel: str) -> BusState:
    """Work out the state of one bus from all that is wrong with it.

    A missing terminator reflects edges: errors that grow with the length of the bus in use; a
    chafed pair destroys everything while it touches.
    """
    count = len(trace.time_s)
    lost, errors = np.zeros(count), np.zeros(count)
    mute: dict[str, Flags] = {}
    babble: dict[str, F64] = {}
    for number, one in enumerate(trace.plight.buses):
        if one.channel != channel:
            continue
        there = moments(trace, one.when, "bus", one.kind, number)
        if one.kind == "mute" and one.controller is not None:
            before = mute.get(one.controller, np.zeros(count, np.bool_))
            mute[one.controller] = before | there
        elif one.kind == "babble" and one.controller is not None:
            babble[one.controller] = np.where(there, one.size, 0.0)
            lost = np.maximum(lost, np.where(there, min(0.6, one.size / 4000.0), 0.0))
        elif one.kind in ("no_terminator", "chafed", "corrupts"):
            lost = 1.0 - (1.0 - lost) * (1.0 - np.where(there, one.size, 0.0))
            a_s = 350.0 if one.kind == "chafed" else 120.0
            errors = errors + np.where(there, one.size * a_s, 0.0)
    return BusState(np.clip(lost, 0.0, 1.0), errors, mute, babble)
