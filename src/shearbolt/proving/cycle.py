"""One key cycle of a machine: its trace, what its controllers find, hold, limit and remember.

Everything here is without frames: `bus` makes those of it, `live_machine` plays them with answers.
`live_through` alone is for the hours of a season that nobody records.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from shearbolt.model.frames import F64
from shearbolt.proving import derate as limits
from shearbolt.proving.common_codes import codes_of
from shearbolt.proving.controllers import Controller, Machine
from shearbolt.proving.detecting import Clear, Found, condition_of, find, flags_of
from shearbolt.proving.diagnostic_packing import DM3, DM11, DM22
from shearbolt.proving.faults import AMBER, OFF, RED_FLASHING, Fault, Watch
from shearbolt.proving.layouts import ERROR, NOT_AVAILABLE
from shearbolt.proving.manners import Manner, manner_of
from shearbolt.proving.memory import DM4_SPNS, Kept, Recall, Store
from shearbolt.proving.outing import Life, Outing, on_until
from shearbolt.proving.physics import Flags
from shearbolt.proving.power import lives_of
from shearbolt.proving.reports import Held
from shearbolt.proving.sensing import sensed
from shearbolt.proving.trace import STEP_S, Trace, simulate

DONE, REFUSED, DENIED, BUSY = 0, 1, 2, 3
"""Control bytes of an acknowledgement (SAE J1939-21 5.4.4)."""
_DEFAULTS: Mapping[int, float] = {
    110: 85.0, 105: 40.0, 174: 40.0, 175: 90.0, 100: 300.0, 102: 0.0, 157: 60.0, 91: 0.0,
    111: 100.0, 177: 70.0, 127: 1600.0,
}  # fmt: skip
"""Round values that a controller takes in the place of a reading that it does not trust."""
_ALIVE_S = 0.05


@dataclass(slots=True)
class KeyCycle:
    """One key cycle as it goes; only `apply` changes it."""

    outing: Outing
    trace: Trace
    faults: tuple[Fault, ...]
    conditions: Mapping[int, Flags]
    """What was watched, by index of the fault, over the steps with the key on."""
    stores: Mapping[tuple[str, str], Store]
    """Memories when the key was turned, by machine and controller."""
    limited: limits.Derate | None
    found: dict[int, Found] = field(default_factory=dict)
    clears: dict[str, list[Clear]] = field(default_factory=dict)
    """By controller."""
    _lives: dict[str, list[Life]] = field(default_factory=dict)

    # Who is there

    def place(self, controller: str) -> tuple[Machine, Controller]:
        """Return a controller with its machine; raises KeyError for a stranger."""
        for machine, one in self.outing.controllers():
            if one.key == controller:
                return machine, one
        raise KeyError(controller)

    def manner(self, controller: Controller) -> Manner:
        """Return a controller's manners."""
        machine, _ = self.place(controller.key)
        return manner_of(machine.key, controller)

    def lives(self, controller: Controller) -> list[Life]:
        """Return the stretches in which a controller speaks."""
        if controller.key not in self._lives:
            machine, _ = self.place(controller.key)
            self._lives[controller.key] = lives_of(self.outing, machine, controller, self.trace)
        return self._lives[controller.key]

    def awake_s(self, controller: Controller, at_s: float) -> float | None:
        """Return for how long a controller has been awake at an instant; None: it is not."""
        for begin, end, boots in self.lives(controller):
            if begin + _ALIVE_S <= at_s < end:
                return at_s - begin if boots else at_s - begin + 1e6
        return None

    # What they hold

    def held(self, controller: str) -> list[Held]:
        """Return the spells of one controller's faults."""
        return [
            spell
            for index, found in self.found.items()
            if self.faults[index].controller == controller
            for spell in found.held
        ]

    def recall(self, controller: Controller) -> Recall:
        """Return a controller's memory in this key cycle."""
        machine, _ = self.place(controller.key)
        mine = {
            index: found
            for index, found in self.found.items()
            if self.faults[index].controller == controller.key
        }
        manner = self.manner(controller)
        frames = {
            index: self._snapshot(controller, manner, found.held[0].set_s)
            for index, found in mine.items()
            if found.held and found.held[0].nth > 0
        }
        return Recall(
            controller.count_steps, manner, self.stores[machine.key, controller.key], self.faults,
            mine, tuple(self.clears.get(controller.key, ())), self.trace, frames,
        )  # fmt: skip

    def _snapshot(self, controller: Controller, manner: Manner, at_s: float) -> dict[int, float]:
        step = min(int(at_s / STEP_S), len(self.trace.time_s) - 1)
        spns = dict.fromkeys((*DM4_SPNS, *manner.frame_spns))
        return {spn: float(sensed(self.trace, spn, controller.key)[step]) for spn in spns}

    def apply(self, controller: str, clear: Clear) -> None:
        """Let a controller carry out a clear; spells after it are worked out afresh."""
        clears = self.clears.setdefault(controller, [])
        clears.append(clear)
        clears.sort(key=lambda one: one.at_s)
        for index, fault in enumerate(self.faults):
            if fault.controller == controller and index in self.conditions:
                self._find(index)

    def _find(self, index: int) -> None:
        fault = self.faults[index]
        machine, _ = self.place(fault.controller)
        store = self.stores[machine.key, fault.controller]
        standing = store.standing(fault.spn, fault.fmi)
        condition = self.conditions[index]
        found = find(index, fault, condition, standing, self.clears.get(fault.controller, ()))
        if found.held or found.failed_s or store.code(fault.spn, fault.fmi) is not None:
            self.found[index] = found
        else:
            self.found.pop(index, None)

    def ask_clear(self, controller: Controller, pgn: int, at_s: float) -> int | None:
        """Let a controller hear a request to clear (DM3, DM11); return its control byte.

        None: it keeps silent. Refused while the engine runs, where the controller's manners say
        so.
        """
        manner = self.manner(controller)
        if pgn not in manner.clears:
            return REFUSED if manner.refuses_unknown else None
        if self.running_at(at_s) and not manner.clears_running:
            return manner.refusal
        self.apply(controller.key, Clear(at_s, "dm3" if pgn == DM3 else "dm11"))
        return DONE

    def ask_clear_one(
        self, controller: Controller, spn: int, fmi: int, active: bool, at_s: float
    ) -> tuple[int, int] | None:
        """Let a controller hear a DM22; return control byte and reason of its answer.

        None: it keeps silent.
        """
        manner = self.manner(controller)
        base = 17 if active else 1
        if DM22 not in manner.clears:
            return (base + 2, 0) if manner.refuses_unknown else None
        if self.running_at(at_s) and not manner.clears_running:
            return base + 2, 1
        entry = next(
            (o for o in self.recall(controller).entries(at_s) if (o.spn, o.fmi) == (spn, fmi)),
            None,
        )
        if entry is None:
            return base + 2, 2
        if active and not entry.active:
            return base + 2, 4
        if not active and not entry.previous:
            return base + 2, 3
        what = "dm22_active" if active else "dm22_previous"
        self.apply(
            controller.key, Clear(at_s, "dm22_active" if what == "dm22_active" else
                                  "dm22_previous", spn, fmi)
        )  # fmt: skip
        return base + 1, 0xFF

    def running_at(self, at_s: float) -> bool:
        """Tell whether the engine turns at an instant."""
        step = min(int(at_s / STEP_S), len(self.trace.time_s) - 1)
        return bool(self.trace.running[step] or self.trace.cranking[step])

    def series(self, controller: Controller, spn: int) -> F64:
        """Return what a controller sends of a signal, one value a step of the trace."""
        if spn == limits.INDUCEMENT and self.limited is not None:
            return self.limited.severity
        values = sensed(self.trace, spn, controller.key)
        for index, found in self.found.items():
            fault = self.faults[index]
            if fault.controller == controller.key and fault.spn == spn and fault.substitutes:
                instead = self._instead(controller, spn)
                values = np.where(flags_of(found.held, self.trace), instead, values)
        return values

    def _instead(self, controller: Controller, spn: int) -> float:
        kind = self.manner(controller).on_bad_signal
        if kind == "none":
            return NOT_AVAILABLE
        return _DEFAULTS.get(spn, ERROR) if kind == "default" else ERROR

    def stores_after(self) -> dict[tuple[str, str], Store]:
        """Return the memories with the key off, by machine and controller."""
        induced = 0.0 if self.limited is None else self.limited.induced_s
        return {
            (machine.key, one.key): self.recall(one).after(induced_s=induced)
            for machine, one in self.outing.controllers()
        }


def live_through(outing: Outing, seed: int) -> KeyCycle:
    """Let a machine live through an outing, without frames; the same seed, the same outcome.

    Where the controllers derate, the machine is run again with less torque, and what they find is
    what they found then. Raises ValueError for an outing without an engine, and KeyError when the
    script names a controller that is not there.
    """
    build = outing.machine.build
    if build is None:
        raise ValueError("an outing needs a machine with an engine")
    stores = {
        (machine.key, one.key): _store_of(outing, machine, one)
        for machine, one in outing.controllers()
    }
    trace = simulate(build, outing.day, outing.phases, np.random.default_rng(seed))
    known = _known_faults(outing, stores)
    cycle = _watched(outing, trace, known, stores, None)
    if not outing.watched:
        return cycle
    induced = max((one.induced_s for one in stores.values()), default=0.0)
    held = [cycle.found[i].held if i in cycle.found else () for i in range(len(cycle.faults))]
    conditions = [cycle.conditions[i] for i in range(len(cycle.faults))]
    limited = limits.derate(trace, cycle.faults, held, conditions, induced)
    if limited.limits:
        trace = simulate(
            build, outing.day, outing.phases, np.random.default_rng(seed), limited.limit_pct
        )
    elif not limited.severity.any() and not limited.induced_s:
        return cycle
    known = (*known, *_limited_codes(outing, limited, stores))
    return _watched(outing, trace, known, stores, limited)


def _watched(
    outing: Outing, trace: Trace, faults: tuple[Fault, ...],
    stores: Mapping[tuple[str, str], Store], limited: limits.Derate | None,
) -> KeyCycle:  # fmt: skip
    steps = on_until(trace)
    conditions: dict[int, Flags] = {}
    cycle = KeyCycle(outing, trace, faults, conditions, stores, limited)
    awake = {one.key: _awake(cycle.lives(one), steps) for _, one in outing.controllers()}
    for index, fault in enumerate(faults):
        condition = condition_of(fault, trace, steps)
        # Who is without power or still booting notices nothing; scripts say it themselves.
        scripted = index < len(outing.faults)
        conditions[index] = condition if scripted else condition & awake[fault.controller]
    for index in conditions:
        cycle._find(index)
    return cycle


def _awake(lives: Sequence[Life], steps: int) -> Flags:
    flags = np.zeros(steps, np.bool_)
    for begin, end, _ in lives:
        flags[round(begin / STEP_S) : round(end / STEP_S)] = True
    return flags


def _store_of(outing: Outing, machine: Machine, controller: Controller) -> Store:
    """Return a controller's memory at key-on: what was kept, and what the script gives it."""
    store = outing.stores.get((machine.key, controller.key), Store())
    kept = {(one.spn, one.fmi): one for one in store.kept}
    for memory in outing.memories:
        if memory.controller == controller.key:
            kept[memory.spn, memory.fmi] = Kept(
                memory.spn, memory.fmi, memory.count, memory.cause, memory.words, memory.stale
            )
    for fault in outing.faults:
        if fault.controller == controller.key and fault.count_before:
            kept[fault.spn, fault.fmi] = Kept(
                fault.spn, fault.fmi, fault.count_before, fault.cause, fault.words,
                lamps=fault.lamps,
            )  # fmt: skip
    return replace(store, kept=tuple(kept.values()))


def _known_faults(outing: Outing, stores: Mapping[tuple[str, str], Store]) -> tuple[Fault, ...]:
    """Return the scripted faults, then every code that the controllers watch for themselves."""
    known = {one.key for _, one in outing.controllers()}
    for fault in outing.faults:
        if fault.controller not in known:
            raise KeyError(fault.controller)
    if not outing.watched:
        return outing.faults
    scripted = {(one.controller, one.spn, one.fmi) for one in outing.faults}
    out = list(outing.faults)
    for machine, controller in outing.controllers():
        store = stores[machine.key, controller.key]
        for code in codes_of(machine, controller, manner_of(machine.key, controller)):
            key = (controller.key, code.spn, code.fmi)
            if key not in scripted:
                out.append(_blamed(outing, code, store))
    return tuple(out)


def _blamed(outing: Outing, fault: Fault, store: Store) -> Fault:
    cause, words = outing.blame.get(
        (fault.controller, fault.spn, fault.fmi), (fault.cause, fault.words)
    )
    before = store.standing(fault.spn, fault.fmi).count
    return replace(fault, cause=cause, words=words, count_before=before)


def _limited_codes(
    outing: Outing, limited: limits.Derate, stores: Mapping[tuple[str, str], Store]
) -> Sequence[Fault]:
    """Return the codes that say that torque is limited, and at which level of inducement."""

    def watch_of(flags: Flags) -> Watch:
        return lambda trace: flags & trace.key

    rows = []
    scripted = {(one.controller, one.spn) for one in outing.faults}
    for machine, controller in outing.controllers():
        manner = manner_of(machine.key, controller)
        sends = {spn for group in controller.groups for spn in group.spns}
        if controller.key == "engine" and manner.derates and manner.answers:
            rows.append(
                Fault("engine", limits.PROTECTION, 31, OFF, watch_of(limited.protecting), 0.5, 1.0,
                      "real_condition", "Torque is limited to protect the engine.")
            )  # fmt: skip
        if limits.INDUCEMENT in sends and manner.derates:
            for fmi, low, high, lamps in (
                (15, 1.0, 2.0, AMBER), (16, 2.0, 5.0, AMBER), (0, 5.0, 9.0, RED_FLASHING)
            ):  # fmt: skip
                level = limited.severity
                flags = np.asarray((level >= low) & (level < high), np.bool_)
                rows.append(
                    Fault(controller.key, limits.INDUCEMENT, fmi, lamps, watch_of(flags), 1.0,
                          1.0, "real_condition", "Exhaust treatment wants something.")
                )  # fmt: skip
    owners = {one.key: machine.key for machine, one in outing.controllers()}
    return [
        _blamed(outing, one, stores[owners[one.controller], one.controller])
        for one in rows
        if (one.controller, one.spn) not in scripted
    ]


__all__ = ["BUSY", "DENIED", "DM11", "DONE", "REFUSED", "KeyCycle", "live_through"]
