"""When each controller lives: from power and boot to the last frame of its after-run."""

from __future__ import annotations

from shearbolt.proving.controllers import IMPLEMENT_BUS, Controller, Machine
from shearbolt.proving.faults import Window
from shearbolt.proving.manners import manner_of
from shearbolt.proving.outing import Life, Outing
from shearbolt.proving.plight import HEALTHY
from shearbolt.proving.supply import outages
from shearbolt.proving.trace import Trace

_SHORT_S = 0.05
_HOLDS_S = 0.5
"""An engine controller holds out so long through the first dip of cranking (common practice)."""


def lives_of(outing: Outing, machine: Machine, controller: Controller, trace: Trace) -> list[Life]:
    """Return the stretches in which a controller has power and speaks.

    Scripted outages say when it speaks again; those that follow from its supply are followed by
    the silence of its reboot. All NAMEs of one box lose their power together.
    """
    key_off = outing.key_off_s
    end = float(outing.seconds)
    if key_off is not None:
        end = min(end, key_off + controller.after_run_s)
    begin, boots = (controller.boot_s, True) if outing.begins_with_key else (0.0, False)
    lives: list[Life] = []
    for since, until in _dark(outing, machine, controller, trace):
        if until <= begin:
            continue
        if since > begin + _SHORT_S:
            lives.append((begin, min(since, end), boots))
        begin, boots = until, True
        if begin >= end:
            return lives
    return [*lives, (begin, end, boots)]


def _dark(outing: Outing, machine: Machine, controller: Controller, trace: Trace) -> list[Window]:
    """Return when it does not speak for want of power, booting included, in order and merged."""
    windows = [one.window for one in outing.outages if one.controller == controller.key]
    if trace.plight != HEALTHY:
        reboot_s = manner_of(machine.key, controller).reboot_s
        outside = controller.channel == IMPLEMENT_BUS and machine.build is None
        for one in machine.controllers:
            if one.name.box == controller.name.box:
                least_s = _HOLDS_S if one.key == "engine" else _SHORT_S
                dark = outages(trace, one.key, implement=outside, least_s=least_s)
                windows += [(since, until + reboot_s) for since, until in dark]
    merged: list[Window] = []
    for since, until in sorted(windows):
        if merged and since <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(until, merged[-1][1]))
        else:
            merged.append((since, until))
    return merged
