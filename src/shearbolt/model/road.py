"""What a tester and a road vehicle's control units said to each other, as frozen events.

SAE J1979 / ISO 15031-5 (services 01 to 0A) and ISO 14229 (services 10, 14, 19, 22, 3E).
Every event carries the instant of the first frame it was heard in and who said it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

ClearResult = Literal["done", "refused", "busy", "no_answer"]


@dataclass(frozen=True, slots=True)
class RoadEvent:
    """What all of them have: when, where and who."""

    time_us: int
    """Instant of the first frame of the message that says so."""
    channel: int
    """Channel index, as in Frames.channel."""
    ident: int
    """Identifier of the control unit's answer; where nobody answered, that of the request."""
    extended: bool
    """29-bit identifier."""

    @property
    def address(self) -> int | None:
        """The unit that speaks, or was asked: its own address, or its answering identifier.

        29 bit: the 8-bit address. 11 bit: 7E8 to 7EF, which lie above any address and so cannot
        be mixed up with one. None: all units were asked and nobody spoke.
        """
        if not self.extended:
            return None if self.ident == 0x7DF else self.ident | 8
        if self.ident >> 16 == 0x18DB:
            return None
        asked = self.ident & 0xFF == 0xF1
        return self.ident >> 8 & 0xFF if asked else self.ident & 0xFF


@dataclass(frozen=True, slots=True)
class PidValue:
    """One quantity of a parameter identifier (PID)."""

    field: str
    """Name for programs, with its unit: `coolant_c`."""
    name: str
    """Plain name."""
    value: float | None
    """Physical value, or the raw number of a listed state; None: the sender has no such reading."""
    unit: str
    """Unit of `value`; 'state' for listed states, '' for plain numbers."""
    state: str | None = None
    """The state in words, where the number has a name."""
    spn: int | None = None
    """The same quantity in J1939, where there is one."""


@dataclass(frozen=True, slots=True)
class PidReading(RoadEvent):
    """Current data, service 01 (or identifiers F400 to F4FF of service 22)."""

    pid: int
    name: str
    """Plain name; '' when its meaning is not in the table."""
    values: tuple[PidValue, ...]
    """Empty when the meaning is not known: then `raw` is all there is."""
    raw: bytes


@dataclass(frozen=True, slots=True)
class PidsSupported(RoadEvent):
    """Which of the next 32 identifiers a control unit answers to."""

    service: int
    base: int
    """00, 20, 40 ... E0: the identifier that was asked for."""
    pids: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class CodesListed(RoadEvent):
    """Codes of service 03 (confirmed), 07 (pending) or 0A (permanent)."""

    service: int
    """03, 07 or 0A."""
    codes: tuple[str, ...]
    """As P0143; empty when the unit says that it has none."""
    announced: int
    """The count byte."""


@dataclass(frozen=True, slots=True)
class Monitor:
    """One self-test of the emission diagnostics."""

    name: str
    supported: bool
    """It exists (PID 01), or is enabled in this driving cycle (PID 41)."""
    complete: bool | None
    """It has run to its end; None when it is not supported."""


@dataclass(frozen=True, slots=True)
class ReadinessListed(RoadEvent):
    """Readiness: PID 01 since the last clear, PID 41 in this driving cycle."""

    pid: int
    """01 or 41."""
    mil: bool | None
    """Malfunction indicator commanded on; None for PID 41, which does not tell."""
    count: int | None
    """Number of confirmed codes; None for PID 41."""
    compression_ignition: bool
    monitors: tuple[Monitor, ...]
    """Every monitor of the standard for this ignition, supported or not."""
    raw: bytes

    @property
    def not_complete(self) -> tuple[str, ...]:
        """Names of the supported monitors that have not run to their end."""
        return tuple(one.name for one in self.monitors if one.supported and not one.complete)


@dataclass(frozen=True, slots=True)
class FreezeCode(RoadEvent):
    """The code that stored a freeze frame (service 02, PID 02)."""

    frame: int
    code: str | None
    """None: nothing is stored."""


@dataclass(frozen=True, slots=True)
class FreezeValue(RoadEvent):
    """One stored parameter of a freeze frame (service 02)."""

    frame: int
    pid: int
    name: str
    values: tuple[PidValue, ...]
    raw: bytes


@dataclass(frozen=True, slots=True)
class MonitorResult:
    """One result of an on-board monitor, as raw counts (service 06)."""

    monitor: int
    """Monitor identifier."""
    test: int
    """Test identifier."""
    scaling: int
    """Unit and scaling identifier; 80 and above are signed."""
    value: int
    low: int
    high: int

    @property
    def passed(self) -> bool:
        """Tell whether the value lies inside its limits."""
        return self.low <= self.value <= self.high


@dataclass(frozen=True, slots=True)
class MonitorResults(RoadEvent):
    """Results of service 06."""

    results: tuple[MonitorResult, ...]


@dataclass(frozen=True, slots=True)
class VehicleInfo(RoadEvent):
    """Service 09, or the same facts by service 22: only what this answer holds is filled."""

    vin: str | None = None
    calibration_ids: tuple[str, ...] = ()
    calibration_checks: tuple[str, ...] = ()
    """Calibration verification numbers, eight hexadecimal digits each."""
    ecu_name: str | None = None
    serial: str | None = None
    """Engine serial number (info type 0D), or the control unit's (identifier F18C)."""
    counters: tuple[tuple[str, int], ...] = ()
    """In-use performance: short name of the standard, count (info types 08 and 0B)."""


@dataclass(frozen=True, slots=True)
class ClearHeard(RoadEvent):
    """A clear of fault memory (service 04 or 14) and what became of it."""

    service: int
    """04 or 14."""
    result: ClearResult
    asked_ident: int | None
    """Identifier of the request; None: only the answer was heard."""
    asked_us: int | None
    nrc: int | None = None
    """Negative response code, when refused or busy."""
    group: int | None = None
    """Service 14: the three bytes asked for; FFFFFF: all groups."""
    waited: bool = False
    """The unit first said 'response pending'."""
    words: str = ""
    """Why it was refused, in plain words."""


@dataclass(frozen=True, slots=True)
class DtcStatus:
    """Status byte of a code (ISO 14229-1, D.2)."""

    byte: int

    @property
    def failed_now(self) -> bool:
        """Bit 0: the last test failed."""
        return bool(self.byte & 0x01)

    @property
    def failed_this_cycle(self) -> bool:
        """Bit 1: failed at least once in this operation cycle."""
        return bool(self.byte & 0x02)

    @property
    def pending(self) -> bool:
        """Bit 2: failed in this or the last complete cycle."""
        return bool(self.byte & 0x04)

    @property
    def confirmed(self) -> bool:
        """Bit 3: failed often enough to be stored."""
        return bool(self.byte & 0x08)

    @property
    def not_tested_since_clear(self) -> bool:
        """Bit 4: the test has not run to its end since the last clear."""
        return bool(self.byte & 0x10)

    @property
    def failed_since_clear(self) -> bool:
        """Bit 5: failed at least once since the last clear."""
        return bool(self.byte & 0x20)

    @property
    def not_tested_this_cycle(self) -> bool:
        """Bit 6: the test has not run to its end in this operation cycle."""
        return bool(self.byte & 0x40)

    @property
    def warning_asked(self) -> bool:
        """Bit 7: the warning indicator is asked for."""
        return bool(self.byte & 0x80)


@dataclass(frozen=True, slots=True)
class UdsFault:
    """One code of service 19 with what its three bytes mean in the unit's code format."""

    raw: bytes
    """Three bytes as sent."""
    status: DtcStatus | None
    code: str | None
    """P-code and the like (SAE J2012); None for SPN and FMI, and for formats without one."""
    failure_type: int | None
    """Third byte beside a P-code (SAE J2012-DA failure type)."""
    spn: int | None = None
    fmi: int | None = None
    severity: int | None = None
    """Severity byte, where the report carries one."""

    @property
    def label(self) -> str:
        """The code as people write it: P0143-11, SPN 110 FMI 0, or six hexadecimal digits."""
        if self.spn is not None:
            return f"SPN {self.spn} FMI {self.fmi}"
        if self.code is not None:
            return f"{self.code}-{self.failure_type:02X}"
        return self.raw.hex().upper()


@dataclass(frozen=True, slots=True)
class UdsCodes(RoadEvent):
    """A list of codes (service 19)."""

    report: int
    """Sub-function: 02 by mask, 0A all supported, ..."""
    mask: int | None
    """Status mask asked for; None when the request was not heard or has none."""
    available: int
    """Status bits that this unit keeps; the others mean nothing."""
    code_format: int | None
    """Format told by this unit earlier; None: not told, read as SAE J2012."""
    faults: tuple[UdsFault, ...]


@dataclass(frozen=True, slots=True)
class UdsCount(RoadEvent):
    """Number of codes by mask (service 19 01 and its like)."""

    report: int
    available: int
    code_format: int
    count: int


@dataclass(frozen=True, slots=True)
class UdsRecord(RoadEvent):
    """Snapshot (19 04) or extended data (19 06) of one code; its layout is the maker's own."""

    report: int
    fault: UdsFault
    record: int | None
    """Record number; None: the unit holds none for this code."""
    identifiers: int | None
    """Number of data identifiers in a snapshot; None for extended data."""
    data: bytes
    """All bytes after that, further records included: their lengths are not public."""


@dataclass(frozen=True, slots=True)
class SessionStarted(RoadEvent):
    """A diagnostic session (service 10)."""

    session: int
    words: str
    p2_ms: int
    """The unit answers within this time."""
    p2_star_ms: int
    """And within this one after 'response pending'."""


@dataclass(frozen=True, slots=True)
class KeepAlive(RoadEvent):
    """The tester keeps its session alive (service 3E)."""

    answer_wanted: bool
    """False: sent as 3E 80, for which silence is the right answer."""


@dataclass(frozen=True, slots=True)
class DataRead(RoadEvent):
    """One data identifier (service 22)."""

    did: int
    name: str
    """Plain name for identifiers of the standard; '' for a maker's own."""
    data: bytes
    text: str | None
    """The data as text where the identifier holds text."""


@dataclass(frozen=True, slots=True)
class NegativeAnswer(RoadEvent):
    """A negative response, 7F."""

    service: int
    nrc: int
    words: str
    final: bool
    """False for 78, response pending: the real answer follows."""


@dataclass(frozen=True, slots=True)
class Unanswered(RoadEvent):
    """A request that wants an answer and got none; `ident` is the request's own."""

    request: bytes
    pending: bool
    """A unit said 'response pending', and then nothing."""


@dataclass(frozen=True, slots=True)
class OtherAnswer(RoadEvent):
    """A positive answer that is kept as its bytes."""

    service: int
    """Service asked for."""
    payload: bytes


@dataclass(frozen=True, slots=True)
class RoadNotRead(RoadEvent):
    """An answer, or the part of it, that does not follow the standard."""

    reason: str
    payload: bytes


AnyRoadEvent: TypeAlias = (
    PidReading
    | PidsSupported
    | CodesListed
    | ReadinessListed
    | FreezeCode
    | FreezeValue
    | MonitorResults
    | VehicleInfo
    | ClearHeard
    | UdsCodes
    | UdsCount
    | UdsRecord
    | SessionStarted
    | KeepAlive
    | DataRead
    | NegativeAnswer
    | Unanswered
    | OtherAnswer
    | RoadNotRead
)
