"""What controllers told of themselves: identification, calibrations, readiness, distances."""

from __future__ import annotations

from collections.abc import Iterable

from shearbolt.decode.presence import Sender
from shearbolt.model.message import Message
from shearbolt.model.visit import TextAnswer
from shearbolt.wire.calibration import read_dm19
from shearbolt.wire.emission_lists import read_dm32, read_dm33
from shearbolt.wire.readiness import (
    OBD_TYPES,
    Monitor,
    read_dm5,
    read_dm20,
    read_dm21,
    read_dm26,
    read_dm29,
)
from shearbolt.wire.texts import (
    read_component,
    read_drivers,
    read_software,
    read_unit_identification,
    read_vehicle_identification,
)

Values = tuple[tuple[str, str | float | None], ...]


def _vin(payload: bytes) -> Values:
    vin, trailers = read_vehicle_identification(payload)
    return (("vin", vin), *((f"trailer_{i}", one) for i, one in enumerate(trailers, 1)))


def _component(payload: bytes) -> Values:
    found = read_component(payload)
    if found is None:
        return ()
    return (
        ("make", found.make),
        ("model", found.model),
        ("serial", found.serial),
        ("unit", found.unit),
    )


def _software(payload: bytes) -> Values:
    return tuple((f"field_{i}", one) for i, one in enumerate(read_software(payload), 1))


def _unit(payload: bytes) -> Values:
    found = read_unit_identification(payload)
    if found is None:
        return ()
    return (
        ("part", found.part),
        ("serial", found.serial),
        ("location", found.location),
        ("kind", found.kind),
        ("maker", found.maker),
    )


def _drivers(payload: bytes) -> Values:
    return tuple((f"driver_{i}", one) for i, one in enumerate(read_drivers(payload), 1))


def _monitors(monitors: Iterable[Monitor]) -> Values:
    return tuple(
        (one.name, "complete" if one.complete else "not complete")
        for one in monitors
        if one.supported
    )


def _dm5(payload: bytes) -> Values:
    found = read_dm5(payload)
    if found is None:
        return ()
    kind = OBD_TYPES.get(found.obd_type) if found.obd_type is not None else None
    return (
        ("active", found.active),
        ("previously_active", found.previously_active),
        ("obd_type", kind or found.obd_type),
        *_monitors(found.monitors),
    )


def _dm19(payload: bytes) -> Values:
    return tuple(
        (one.identification or f"calibration_{i}", one.verification_hex)
        for i, one in enumerate(read_dm19(payload), 1)
    )


def _dm20(payload: bytes) -> Values:
    found = read_dm20(payload)
    if found is None:
        return ()
    values: list[tuple[str, str | float | None]] = [
        ("ignition_cycles", found.ignition_cycles),
        ("general_denominator", found.general_denominator),
    ]
    for ratio in found.ratios:
        values.append((f"spn_{ratio.spn}_numerator", ratio.numerator))
        values.append((f"spn_{ratio.spn}_denominator", ratio.denominator))
    return tuple(values)


def _dm21(payload: bytes) -> Values:
    found = read_dm21(payload)
    if found is None:
        return ()
    return (
        ("mil_km", found.mil_km),
        ("since_clear_km", found.since_clear_km),
        ("mil_min", found.mil_min),
        ("since_clear_min", found.since_clear_min),
    )


def _dm26(payload: bytes) -> Values:
    found = read_dm26(payload)
    if found is None:
        return ()
    return (
        ("since_start_s", found.since_start_s),
        ("warm_ups_since_clear", found.warm_ups_since_clear),
        *_monitors(found.monitors),
    )


def _dm29(payload: bytes) -> Values:
    found = read_dm29(payload)
    if found is None:
        return ()
    return (
        ("pending", found.pending),
        ("all_pending", found.all_pending),
        ("mil_on", found.mil_on),
        ("previously_mil_on", found.previously_mil_on),
        ("permanent", found.permanent),
    )


def _dm32(payload: bytes) -> Values:
    return tuple(
        (f"spn_{one.spn}_fmi_{one.fmi}", one.state.hex().upper()) for one in read_dm32(payload)
    )


def _dm33(payload: bytes) -> Values:
    values: list[tuple[str, str | float | None]] = []
    for one in read_dm33(payload):
        values.append((f"device_{one.device}_timer_1_min", one.timer_1_min))
        values.append((f"device_{one.device}_timer_2_min", one.timer_2_min))
    return tuple(values)


READERS = {
    65260: ("vin", _vin),
    65259: ("component", _component),
    65242: ("software", _software),
    64965: ("unit", _unit),
    65131: ("driver", _drivers),
    65230: ("dm5", _dm5),
    54016: ("dm19", _dm19),
    49664: ("dm20", _dm20),
    49408: ("dm21", _dm21),
    64952: ("dm26", _dm26),
    40448: ("dm29", _dm29),
    41472: ("dm32", _dm32),
    41216: ("dm33", _dm33),
}
"""By group: what it is called in the record, and who reads it."""
LASTING = frozenset({"vin", "component", "software", "unit", "driver", "dm19"})
"""What stays as it is until somebody changes the machine."""


class Answers:
    """Keeps what was told: identifications whenever they change, running figures first and last."""

    def __init__(self) -> None:
        self._told: list[tuple[int, int, int, str, Values]] = []
        self._last: dict[tuple[int, int, str], Values] = {}
        self._running: dict[tuple[int, int, int], Message] = {}

    def only_last(self, channel: int, source: int, pgn: int) -> bool:
        """Tell whether of many answers of a sender only the last can tell anything new."""
        found = READERS.get(pgn)
        if found is None or found[0] in LASTING:
            return False
        return (channel, source, found[0]) in self._last

    def take(self, message: Message) -> None:
        """Take any message; those without a reader here are passed over."""
        found = READERS.get(message.pgn)
        if found is None:
            return
        what, read = found
        key = message.channel, message.source, what
        if what not in LASTING and key in self._last:
            # Distances, times and counters change with every answer: the last will do.
            self._running[message.channel, message.source, message.pgn] = message
            return
        values = read(message.payload)
        if not any(value is not None for _, value in values) or self._last.get(key) == values:
            return
        self._last[key] = values
        self._told.append((message.time_us, message.channel, message.source, what, values))

    def finish(self) -> None:
        """Read the last of each running figure; call once, after the last message."""
        for (channel, source, pgn), message in self._running.items():
            what, read = READERS[pgn]
            values = read(message.payload)
            if values and values != self._last[channel, source, what]:
                self._told.append((message.time_us, channel, source, what, values))
        self._running.clear()
        self._told.sort(key=lambda one: one[0])

    def told(self, channels: tuple[str, ...]) -> tuple[TextAnswer, ...]:
        """Return everything told, in its order."""
        return tuple(
            TextAnswer(at_us, channels[channel], source, what, values)
            for at_us, channel, source, what, values in self._told
        )

    def vins(self, channels: tuple[str, ...]) -> tuple[tuple[str, int, str], ...]:
        """Return every VIN told: channel, address, VIN, each once."""
        found = {
            (channels[channel], source, str(value)): None
            for _, channel, source, what, values in self._told
            if what == "vin"
            for name, value in values
            if name == "vin" and value
        }
        return tuple(found)

    def vin_of(self, sender: Sender) -> str | None:
        """Return the VIN that a sender told last."""
        values = dict(self._last.get((*sender, "vin"), ()))
        vin = values.get("vin")
        return str(vin) if vin else None

    def component_of(self, sender: Sender) -> tuple[str, ...]:
        """Return make, model, serial and unit as a sender told them last, '' for none."""
        return tuple(str(value or "") for _, value in self._last.get((*sender, "component"), ()))

    def software_of(self, sender: Sender) -> tuple[str, ...]:
        """Return the software fields that a sender told last."""
        return tuple(str(value or "") for _, value in self._last.get((*sender, "software"), ()))
