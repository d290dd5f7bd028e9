"""Faults: codes, lamps, counts and spells, as controllers report them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Lamp = Literal["off", "on", "slow", "fast"]
"""State of one lamp; None where the sender gives none."""
FaultKind = Literal["j1939", "obd", "uds", "hand", "symptom"]
FaultState = Literal["active", "previously_active", "pending", "permanent", "cleared", "unknown"]
EndedBy = Literal["healed", "key_off", "silence", "recording_end", "unknown"]

COUNT_FULL = 126
"""Occurrence counts stop here: 'at least 126' (SAE J1939-73)."""
COUNT_NONE = 127
"""Occurrence count 'not available' (SAE J1939-73)."""
MAKER_SPN = 520192
"""Suspect parameter numbers from here up belong to makers (SAE J1939)."""


@dataclass(frozen=True, slots=True)
class Lamps:
    """The four lamps of a diagnostic message (SAE J1939-73); they belong to the whole message."""

    mil: Lamp | None = None
    red_stop: Lamp | None = None
    amber_warning: Lamp | None = None
    protect: Lamp | None = None

    @property
    def any_lit(self) -> bool:
        """Tell whether one of them is lit, steadily or flashing."""
        return any(
            lamp in ("on", "slow", "fast")
            for lamp in (self.mil, self.red_stop, self.amber_warning, self.protect)
        )


@dataclass(frozen=True, slots=True)
class Dtc:
    """A diagnostic trouble code as its four bytes say by conversion method 4."""

    spn: int
    fmi: int
    count: int | None
    """Occurrence count; None: not available."""
    raw: bytes
    """The four bytes, for the older conversion methods."""

    @property
    def old_method(self) -> bool:
        """Conversion-method bit: True for the methods 1 to 3, which one code cannot tell apart."""
        return bool(self.raw[3] & 0x80)


@dataclass(frozen=True, slots=True)
class FaultKey:
    """What makes a code one fault of one sender in one visit."""

    kind: FaultKind
    channel: str
    address: int | None
    spn: int | None = None
    fmi: int | None = None
    code: str | None = None
    """P-code and the like (SAE J2012), or a code or symptom in the person's words."""


@dataclass(frozen=True, slots=True)
class Spell:
    """One stretch of reports that list a fault."""

    start_us: int
    """First frame of the first report that lists it."""
    start_known: bool
    """False: it was listed in the sender's first report, and may have begun before."""
    end_us: int
    """First frame of the last report that lists it."""
    end_latest_us: int | None
    """First report without it, where there was one."""
    ended_by: EndedBy
    count_start: int | None
    count_end: int | None


@dataclass(frozen=True, slots=True)
class CountSeen:
    """An occurrence count as reported: when it was first and last seen with that value."""

    first_us: int
    last_us: int
    count: int | None
    cleared: bool = False
    """Set to zero by a clear heard on the bus."""


@dataclass(frozen=True, slots=True)
class FrozenValue:
    """One value of a freeze frame."""

    spn: int
    value: float | None
    unit: str


@dataclass(frozen=True, slots=True)
class FreezeFrame:
    """Operating conditions that a controller stored when a fault began (DM4, DM25, mode 02)."""

    at_us: int
    """When it was reported (not when it was stored)."""
    values: tuple[FrozenValue, ...]
    source: str
    """'dm4', 'dm25', 'obd'."""


@dataclass(frozen=True, slots=True)
class FaultSeen:
    """All that one visit tells of one fault."""

    key: FaultKey
    sources: tuple[str, ...]
    """Where it was listed: 'dm1', 'dm2', 'dm6', 'dm12', 'dm23', 'dm27', 'dm28', 'obd03', ..."""
    first_us: int
    last_us: int
    state: FaultState
    """State at the end of the visit, as far as this visit tells."""
    spells: tuple[Spell, ...] = ()
    counts: tuple[CountSeen, ...] = ()
    lamps: Lamps = Lamps()
    """Lit in every DM1 that lists it."""
    lamps_sure: Lamps = Lamps()
    """Lit when it was listed alone, or by DM31."""
    freeze_frames: tuple[FreezeFrame, ...] = ()
    method: int = 4
    """Conversion method its code was read by; 0: not settled."""
    candidates: tuple[int, ...] = ()
    """SPNs it may be when the method is not settled."""
    status_byte: int | None = None
    """ISO 14229 status of the code."""
    failure_type: int | None = None
    """Third byte of an ISO 14229 code (SAE J2012-DA)."""


@dataclass(frozen=True, slots=True)
class LampSpell:
    """A lamp lit while its sender lists no fault."""

    channel: str
    address: int
    lamps: Lamps
    start_us: int
    end_us: int


@dataclass(frozen=True, slots=True)
class Cleared:
    """A clear of fault memory heard on the bus, as an event of the record."""

    at_us: int
    channel: str
    asker: int
    """Source address that asked."""
    controller: int | None
    """Address asked; None: all."""
    what: Literal["dm3", "dm11", "dm22", "obd04", "uds14"]
    result: Literal["done", "refused", "busy", "no_answer"]
    spn: int | None = None
    fmi: int | None = None
    detail: str = ""
