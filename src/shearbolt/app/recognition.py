"""Which machine is it? By VIN, by the NAMEs of its controllers, or by what the person says.

Pure: what a recording told and what the book knows come in, a judgement comes out. An implement
is a machine of its own on whichever tractor's bus it is heard.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shearbolt.app.wording import keep
from shearbolt.book.records import Box, Controller, Machine
from shearbolt.dictionary.names import function_text
from shearbolt.model.controller import ControllerSeen, Name
from shearbolt.model.visit import VisitContent

ENGINE = 0
"""NAME function: engine (SAE J1939, reference list of functions)."""
AGRICULTURE = 2
"""Industry group: agriculture and forestry."""
NOT_A_MACHINE = frozenset({0, 127})
"""Device classes 'non-specific' and 'not available'."""
NO_SENDERS = frozenset({254, 255})
OFF_BOARD_ADDRESSES = range(249, 252)
"""Preferred source addresses of service tools and data loggers."""


@dataclass(frozen=True, slots=True)
class Known:
    """What the book knows of one machine's identity."""

    machine: Machine
    controllers: tuple[Controller, ...]
    boxes: tuple[Box, ...]

    @property
    def names(self) -> frozenset[Name]:
        """All NAMEs ever heard on it."""
        return frozenset(box.name for box in self.boxes)


@dataclass(frozen=True, slots=True)
class Part:
    """The senders of one machine within a recording."""

    senders: tuple[int, ...]
    """Indexes into VisitContent.controllers."""
    vin: str | None
    implement: bool
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Recognised:
    """Which machine a part is, and how that is known."""

    part: Part
    known: Known | None
    """None: a machine the book has not met."""
    by: tuple[str, ...]
    doubts: tuple[str, ...]


def split(content: VisitContent) -> tuple[Part, ...]:
    """Tell the machines of one recording apart, the main one first, then implements and others.

    Implements: control units in agriculture that may take any address (ISO 11783-5) and name
    another kind of machine than the main one. Further machines: channels with an engine of their
    own under another NAME or VIN.
    """
    seats = [i for i, one in enumerate(content.controllers) if one.address not in NO_SENDERS]
    by_channel: dict[str, list[int]] = {}
    for i in seats:
        by_channel.setdefault(content.controllers[i].channel, []).append(i)
    signs = {
        channel: _signs([content.controllers[i] for i in some])
        for channel, some in by_channel.items()
    }
    clusters: list[list[str]] = []
    for channel in by_channel:
        for cluster in clusters:
            if not _apart(signs[channel], [signs[one] for one in cluster]):
                cluster.append(channel)
                break
        else:
            clusters.append([channel])
    clusters.sort(key=lambda some: -sum(len(by_channel[one]) for one in some))
    parts: list[Part] = []
    implements: dict[tuple[int, int, int], list[int]] = {}
    for cluster in clusters:
        members = [i for channel in cluster for i in by_channel[channel]]
        own = _main_class([content.controllers[i] for i in members])
        main: list[int] = []
        for i in members:
            name = content.controllers[i].name
            if name is not None and _is_implement(name, own):
                key = (name.device_class, name.device_class_instance, name.manufacturer_code)
                implements.setdefault(key, []).append(i)
            else:
                main.append(i)
        told = _vins_of(content, main)
        doubts = _mixed(content, cluster, told)
        if main or told:
            parts.append(Part(tuple(main), told[0] if told else None, False, doubts))
    for some in implements.values():
        told = _vins_of(content, some)
        parts.append(Part(tuple(some), told[0] if told else None, True))
    return tuple(parts)


def _vins_of(content: VisitContent, senders: Sequence[int]) -> list[str]:
    """Return the vehicle identifications that some senders told, each once, in their order."""
    seats = {(content.controllers[i].channel, content.controllers[i].address) for i in senders}
    told = [vin for channel, address, vin in content.vins if (channel, address) in seats]
    return list(dict.fromkeys(told))


@dataclass(frozen=True, slots=True)
class _Signs:
    """What one channel shows of the machine it belongs to."""

    boxes: frozenset[tuple[int, int]]
    engines: frozenset[Name]
    vins: frozenset[str]


def _signs(senders: Sequence[ControllerSeen]) -> _Signs:
    names = [one.name for one in senders if one.name is not None and not _comes_along(one)]
    return _Signs(
        frozenset(name.box for name in names if name.identity_number),
        frozenset(name for name in names if name.function == ENGINE),
        # An implement may tell an identification of its own.
        frozenset(
            one.vin for one in senders if one.vin and not (one.name and one.name.self_configurable)
        ),
    )


def _apart(channel: _Signs, cluster: Sequence[_Signs]) -> bool:
    """Tell whether a channel belongs to another machine than the channels of a cluster.

    One box on both, or one vehicle identification, makes them one machine.
    """
    vins = frozenset().union(*(one.vins for one in cluster))
    if channel.vins and vins:
        return not channel.vins & vins
    if any(channel.boxes & one.boxes for one in cluster):
        return False
    engines = frozenset().union(*(one.engines for one in cluster))
    return bool(channel.engines and engines and not channel.engines & engines)


def _mixed(content: VisitContent, cluster: Sequence[str], told: Sequence[str]) -> tuple[str, ...]:
    """Note signs that frames of two machines are mixed on one channel."""
    doubts: list[str] = []
    if len(set(told)) > 1:
        doubts.append(keep("two_vins", told[0], told[1]))
    holders: dict[tuple[str, int], set[Name]] = {}
    for claim in content.claims:
        if claim.channel in cluster:
            holders.setdefault((claim.channel, claim.address), set()).add(claim.name)
    for (channel, address), names in sorted(holders.items()):
        places = {name.place for name in names}
        if len(names) > 1 and len(places) < len(names):
            doubts.append(keep("two_holders", address, channel))
    return tuple(doubts)


def _main_class(senders: Sequence[ControllerSeen]) -> int | None:
    """Return the device class of the machine that carries the bus: its engine's, else the most
    common among units with fixed addresses."""
    names = [one.name for one in senders if one.name is not None]
    engines = [name for name in names if name.function == ENGINE]
    for name in engines:
        if name.device_class not in NOT_A_MACHINE:
            return name.device_class
    fixed = [
        name.device_class
        for name in names
        if name.device_class not in NOT_A_MACHINE and not name.self_configurable
    ]
    return max(set(fixed), key=fixed.count) if fixed else None


def _is_implement(name: Name, own_class: int | None) -> bool:
    return (
        name.industry_group == AGRICULTURE
        and name.device_class not in NOT_A_MACHINE
        and name.function != ENGINE
        and (name.self_configurable or own_class is not None)
        and name.device_class != own_class
    )


def recognise(
    part: Part, content: VisitContent, fleet: Sequence[Known], given: Known | None
) -> Recognised:
    """Find the machine of one part of a recording."""
    names = [
        one.name
        for one in (content.controllers[i] for i in part.senders)
        if one.name is not None and not _comes_along(one)
    ]
    by_vin = _by_vin(part.vin, fleet)
    by_names = _by_names(names, fleet)
    doubts = list(part.doubts)
    if given is None and by_vin is None and by_names is not None and _other_vin(part.vin, by_names):
        # Boxes are moved between machines; a vehicle identification is not.
        doubts.append(keep("boxes_of_other", part.vin, by_names.machine.name))
        by_names = None
    by: list[str] = []
    known = given or by_vin or by_names
    if given is not None:
        by.append("given")
        if by_vin is not None and by_vin.machine.id != given.machine.id:
            doubts.append(keep("vin_of_other", part.vin, by_vin.machine.name, given.machine.name))
        elif by_names is not None and by_names.machine.id != given.machine.id:
            doubts.append(keep("names_of_other", by_names.machine.name, given.machine.name))
    if known is not None and by_vin is not None and by_vin.machine.id == known.machine.id:
        by.append("vin")
        if names and known.boxes and not known.names.intersection(names):
            doubts.append(keep("names_differ", known.machine.name))
    if known is not None and by_names is not None and by_names.machine.id == known.machine.id:
        by.append("names")
    if known is not None and by_vin is None and _other_vin(part.vin, known):
        doubts.append(keep("vin_changed", part.vin, known.machine.vin))
    if known is not None and (by_names is None or by_names.machine.id == known.machine.id):
        # Where most are another machine's, that is told already.
        doubts.extend(_moved(names, known, fleet))
    if known is None:
        by.append("new")
        if not names and part.vin is None:
            doubts.append(keep("no_identity"))
    return Recognised(part, known, tuple(by), tuple(doubts))


def _comes_along(one: ControllerSeen) -> bool:
    """Tell whether a sender is a tester or logger that was plugged in."""
    by_name = one.name is not None and one.name.off_board
    return by_name or one.address in OFF_BOARD_ADDRESSES


def _other_vin(vin: str | None, known: Known) -> bool:
    return vin is not None and known.machine.vin is not None and vin != known.machine.vin


def _moved(names: Sequence[Name], known: Known, fleet: Sequence[Known]) -> list[str]:
    """Tell boxes that are new on this machine and known on another."""
    return [
        keep("moved_unit", function_text(name), other.machine.name)
        for name in dict.fromkeys(names)
        if name not in known.names
        for other in fleet
        if other.machine.id != known.machine.id and name in other.names
    ]


def _by_vin(vin: str | None, fleet: Sequence[Known]) -> Known | None:
    if vin is None:
        return None
    return next((one for one in fleet if one.machine.vin == vin), None)


def _by_names(names: Sequence[Name], fleet: Sequence[Known]) -> Known | None:
    """Return the machine that most of these NAMEs were heard on.

    At least as many of its places must be filled by a box known there as by strangers, so that
    one unit moved over does not carry a whole machine's identity with it.
    """
    best: Known | None = None
    best_score = 0
    for one in fleet:
        met = sum(name in one.names for name in names)
        places = {box.name.place for box in one.boxes}
        strangers = sum(name not in one.names and name.place in places for name in names)
        if met > best_score and met >= strangers:
            best, best_score = one, met
    return best
