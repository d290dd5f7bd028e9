"""What a tester and a road vehicle's control units said, as the same facts as J1939's.

SAE J1979 and ISO 14229 heard on the wire: codes become faults, clears events, values readings.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

import numpy as np

from shearbolt.decode.tally import Beat
from shearbolt.model.controller import ControllerSeen
from shearbolt.model.fault import (
    Cleared,
    FaultKey,
    FaultSeen,
    FaultState,
    FreezeFrame,
    FrozenValue,
    Lamp,
    Lamps,
)
from shearbolt.model.frames import EXTENDED, Frames
from shearbolt.model.layout import SignalRow
from shearbolt.model.message import IsoTpMessage
from shearbolt.model.road import (
    AnyRoadEvent,
    ClearHeard,
    CodesListed,
    FreezeCode,
    FreezeValue,
    PidReading,
    PidValue,
    ReadinessListed,
    RoadEvent,
    UdsCodes,
    UdsFault,
    VehicleInfo,
)
from shearbolt.model.signal import NOT_AVAILABLE, NUMBER, SignalColumn, SignalSeen
from shearbolt.model.visit import TextAnswer
from shearbolt.wire.diagnostic_ids import diagnostic_mask, is_answer
from shearbolt.wire.iso_tp import IsoTpListener
from shearbolt.wire.tester_dialogue import DialogueListener

ISO_TP_GROUP = 55808
"""Group number of 29-bit ISO 15765-3 frames; stands for tester readings of either width."""
Unit = tuple[int, int]
"""(channel index, address as in RoadEvent.address)."""
OBD_LISTS: dict[int, tuple[str, FaultState]] = {
    0x03: ("obd03", "active"),
    0x07: ("obd07", "pending"),
    0x0A: ("obd0a", "permanent"),
}


@dataclass(slots=True)
class _Code:
    key: FaultKey
    first_us: int
    last_us: int
    sources: set[str] = field(default_factory=set)
    state: FaultState = "unknown"
    status_byte: int | None = None
    failure_type: int | None = None


@dataclass(frozen=True, slots=True)
class RoadTold:
    """What the tester's dialogue told of a visit."""

    controllers: tuple[ControllerSeen, ...]
    faults: tuple[FaultSeen, ...]
    clears: tuple[Cleared, ...]
    answers: tuple[TextAnswer, ...]
    vins: tuple[tuple[str, int, str], ...]
    signals: tuple[SignalSeen, ...]


class RoadTalk:
    """Follows the ISO 15765 messages of a recording."""

    def __init__(self) -> None:
        self._listener = IsoTpListener()
        self._dialogue = DialogueListener()
        self.events: list[AnyRoadEvent] = []
        self._units: dict[Unit, Beat] = {}

    def feed(self, frames: Frames) -> None:
        """Take the frames of the next block."""
        rows = np.flatnonzero(diagnostic_mask(frames.ident, frames.flags))
        for row in rows.tolist():
            ident, channel = int(frames.ident[row]), int(frames.channel[row])
            extended = bool(frames.flags[row] & EXTENDED)
            time_us = int(frames.time_us[row])
            if is_answer(ident, extended):
                address = ident & 0xFF if extended else ident
                self._units.setdefault((channel, address), Beat()).add(
                    frames.time_us[row : row + 1]
                )
            for one in self._listener.feed(time_us, channel, ident, extended, frames.data(row)):
                if isinstance(one, IsoTpMessage):
                    self.events.extend(self._dialogue.feed(one))

    def finish(self) -> None:
        """End the recording."""
        self._listener.finish()
        self.events.extend(self._dialogue.finish())

    def _said(self) -> Iterator[tuple[AnyRoadEvent, int]]:
        """Give the events that one unit said, with its address."""
        for event in self.events:
            address = event.address
            if address is not None:
                yield event, address

    def told(self, channels: tuple[str, ...]) -> RoadTold:
        """Return what was told, in the record's terms."""
        vins = {
            (channels[one.channel], address, one.vin): None
            for one, address in self._said()
            if isinstance(one, VehicleInfo) and one.vin
        }
        return RoadTold(
            self._controllers(channels, tuple(vins)),
            self._faults(channels),
            self._clears(channels),
            self._answers(channels),
            tuple(vins),
            self._signals(channels),
        )

    def _controllers(
        self, channels: tuple[str, ...], vins: Iterable[tuple[str, int, str]]
    ) -> tuple[ControllerSeen, ...]:
        vin_of = {(channel, address): vin for channel, address, vin in vins}
        return tuple(
            ControllerSeen(
                channel=channels[channel],
                address=address,
                name=None,
                first_us=beat.first_us,
                last_us=beat.last_us,
                frames=beat.count,
                dm1_manner="unknown",
                dm1_messages=0,
                dm1_by_transport=0,
                dm1_all_clear=0,
                after_run_s=None,
                vin=vin_of.get((channels[channel], address)),
            )
            for (channel, address), beat in sorted(self._units.items())
            if address > 0xFF  # 29-bit units are senders on the bus like any other
        )

    def _faults(self, channels: tuple[str, ...]) -> tuple[FaultSeen, ...]:
        codes: dict[FaultKey, _Code] = {}
        mil: dict[Unit, bool] = {}
        for event, address in self._said():
            channel = channels[event.channel]
            if isinstance(event, ReadinessListed) and event.mil is not None:
                mil[event.channel, address] = event.mil
            elif isinstance(event, CodesListed):
                source, state = OBD_LISTS[event.service]
                for code in event.codes:
                    key = FaultKey("obd", channel, event.address, code=code)
                    _note(codes, key, event, source, state)
            elif isinstance(event, UdsCodes) and event.report != 0x0A:
                for fault in event.faults:
                    self._uds(codes, channel, event, fault)
        frames = self._freeze_frames(channels)
        return tuple(
            FaultSeen(
                one.key,
                tuple(sorted(one.sources)),
                one.first_us,
                one.last_us,
                one.state,
                lamps=Lamps(mil=self._mil(mil, channels, one)),
                freeze_frames=tuple(
                    frames.get((one.key.channel, one.key.address or 0, one.key.code or ""), ())
                ),
                status_byte=one.status_byte,
                failure_type=one.failure_type,
            )
            for one in codes.values()
        )

    @staticmethod
    def _mil(mil: dict[Unit, bool], channels: tuple[str, ...], one: _Code) -> Lamp | None:
        told = mil.get((channels.index(one.key.channel), one.key.address or 0))
        if told is None or one.state == "pending":
            return None
        return "on" if told else "off"

    @staticmethod
    def _uds(codes: dict[FaultKey, _Code], channel: str, event: UdsCodes, fault: UdsFault) -> None:
        if fault.spn is not None:
            key = FaultKey("uds", channel, event.address, fault.spn, fault.fmi)
        elif fault.code is not None and not fault.failure_type:
            # Without a failure type it is the code that service 03 names.
            key = FaultKey("obd", channel, event.address, code=fault.code)
        else:
            key = FaultKey("uds", channel, event.address, code=fault.label)
        state: FaultState = "unknown"
        if fault.status is not None:
            if fault.status.failed_now:
                state = "active"
            elif fault.status.confirmed:
                state = "previously_active"
            elif fault.status.pending:
                state = "pending"
            else:
                return
        one = _note(codes, key, event, "uds19", state)
        one.status_byte = fault.status.byte if fault.status is not None else None
        one.failure_type = fault.failure_type

    def _freeze_frames(
        self, channels: tuple[str, ...]
    ) -> dict[tuple[str, int, str], list[FreezeFrame]]:
        """Join the stored values of service 02 with the code that stored them."""
        code_of: dict[tuple[int, int, int], str] = {}
        values: dict[tuple[int, int, int], dict[int, FrozenValue]] = {}
        at: dict[tuple[int, int, int], int] = {}
        for event, address in self._said():
            if isinstance(event, FreezeCode) and event.code is not None:
                code_of[event.channel, address, event.frame] = event.code
            elif isinstance(event, FreezeValue):
                where = event.channel, address, event.frame
                at.setdefault(where, event.time_us)
                for value in event.values:
                    if value.spn is not None:
                        values.setdefault(where, {})[value.spn] = FrozenValue(
                            value.spn, value.value, value.unit
                        )
        found: dict[tuple[str, int, str], list[FreezeFrame]] = {}
        for where, stored in values.items():
            if where in code_of:
                channel, address, _ = where
                found.setdefault((channels[channel], address, code_of[where]), []).append(
                    FreezeFrame(at[where], tuple(stored.values()), "obd")
                )
        return found

    def _clears(self, channels: tuple[str, ...]) -> tuple[Cleared, ...]:
        return tuple(
            Cleared(
                event.asked_us if event.asked_us is not None else event.time_us,
                channels[event.channel],
                0xF1,
                None if event.result == "no_answer" else event.address,
                "obd04" if event.service == 0x04 else "uds14",
                event.result,
                detail=event.words,
            )
            for event in self.events
            if isinstance(event, ClearHeard)
        )

    def _answers(self, channels: tuple[str, ...]) -> tuple[TextAnswer, ...]:
        answers: list[TextAnswer] = []
        for event, address in self._said():
            where = event.time_us, channels[event.channel], address
            if isinstance(event, VehicleInfo):
                told = (
                    ("vin", event.vin),
                    ("ecu_name", event.ecu_name),
                    ("serial", event.serial),
                    *((f"calibration_{i}", one) for i, one in enumerate(event.calibration_ids, 1)),
                    *(
                        (f"calibration_check_{i}", one)
                        for i, one in enumerate(event.calibration_checks, 1)
                    ),
                )
                values = tuple((name, value) for name, value in told if value is not None)
                if values:
                    answers.append(TextAnswer(*where, "obd09", values))
            elif isinstance(event, ReadinessListed):
                ready = tuple(
                    (one.name, "complete" if one.complete else "not complete")
                    for one in event.monitors
                    if one.supported
                )
                lamp = ("mil", None if event.mil is None else ("on" if event.mil else "off"))
                answers.append(TextAnswer(*where, "obd01", (lamp, ("codes", event.count), *ready)))
        kept: dict[tuple[str, int, str, object], TextAnswer] = {}
        for one in answers:
            kept.setdefault((one.channel, one.address, one.what, one.values), one)
        return tuple(kept.values())

    def columns(self, channels: tuple[str, ...]) -> Iterator[SignalColumn]:
        """Give the readings of service 01 that are also J1939 parameters, as columns."""
        for (channel, address, spn), some in sorted(self._readings().items()):
            first = some[0][1]
            yield SignalColumn(
                channels[channel],
                address,
                SignalRow(
                    spn, first.name, ISO_TP_GROUP, "", 1, 1, 8, 0.0, 0.0, first.unit,
                    -np.inf, np.inf, source="SAE J1979",
                ),
                np.array([at_us for at_us, _ in some], np.int64),
                np.array([np.nan if one.value is None else one.value for _, one in some]),
                np.array(
                    [NOT_AVAILABLE if one.value is None else NUMBER for _, one in some], np.uint8
                ),
            )  # fmt: skip

    def _readings(self) -> dict[tuple[int, int, int], list[tuple[int, PidValue]]]:
        found: dict[tuple[int, int, int], list[tuple[int, PidValue]]] = {}
        for event, address in self._said():
            if isinstance(event, PidReading):
                for value in event.values:
                    if value.spn is not None:
                        where = event.channel, address, value.spn
                        found.setdefault(where, []).append((event.time_us, value))
        return found

    def _signals(self, channels: tuple[str, ...]) -> tuple[SignalSeen, ...]:
        """Tell what the columns of `columns` show."""
        seen: list[SignalSeen] = []
        for column in self.columns(channels):
            beat = Beat()
            beat.add(column.time_us)
            numbers = column.value[column.status == NUMBER]
            some = len(numbers) > 0
            seen.append(
                SignalSeen(
                    column.channel,
                    column.address,
                    column.row.spn,
                    ISO_TP_GROUP,
                    beat.count,
                    len(numbers),
                    beat.count - len(numbers),
                    0,
                    beat.first_us,
                    beat.last_us,
                    beat.period_s,
                    float(numbers.min()) if some else None,
                    float(numbers.max()) if some else None,
                    float(numbers[0]) if some else None,
                    float(numbers[-1]) if some else None,
                    0.0,
                    column.row.unit,
                )
            )
        return tuple(seen)


def _note(
    codes: dict[FaultKey, _Code], key: FaultKey, event: RoadEvent, source: str, state: FaultState
) -> _Code:
    one = codes.setdefault(key, _Code(key, event.time_us, event.time_us))
    one.last_us = event.time_us
    one.sources.add(source)
    if one.state == "unknown" or _STRENGTH[state] > _STRENGTH[one.state]:
        one.state = state
    return one


_STRENGTH: dict[FaultState, int] = {
    "unknown": 0,
    "cleared": 0,
    "pending": 1,
    "previously_active": 2,
    "permanent": 3,
    "active": 4,
}
"""Which state is told where several lists name one code."""
