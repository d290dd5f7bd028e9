"""Controllers: the NAME of a control unit and what one visit showed of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Dm1Manner = Literal["always", "while_active", "at_key_on", "never_heard", "unknown"]


@dataclass(frozen=True, slots=True, order=True)
class Name:
    """NAME of a control unit, 64 bits (SAE J1939-81; ISO 11783-5)."""

    value: int
    """The 64-bit number, byte 8 of the claim most significant."""

    @classmethod
    def from_bytes(cls, data: bytes) -> Name:
        """Read the eight bytes of an address claim, least significant first."""
        if len(data) != 8:
            raise ValueError(f"a NAME has 8 bytes, not {len(data)}")
        return cls(int.from_bytes(data, "little"))

    @property
    def hex(self) -> str:
        """Sixteen hexadecimal digits, most significant byte first."""
        return f"{self.value:016X}"

    @property
    def identity_number(self) -> int:
        """Bits 1-21."""
        return self.value & 0x1FFFFF

    @property
    def manufacturer_code(self) -> int:
        """Bits 22-32."""
        return self.value >> 21 & 0x7FF

    @property
    def ecu_instance(self) -> int:
        """Bits 33-35."""
        return self.value >> 32 & 7

    @property
    def function_instance(self) -> int:
        """Bits 36-40."""
        return self.value >> 35 & 0x1F

    @property
    def function(self) -> int:
        """Bits 41-48."""
        return self.value >> 40 & 0xFF

    @property
    def device_class(self) -> int:
        """Bits 50-56 (vehicle system)."""
        return self.value >> 49 & 0x7F

    @property
    def device_class_instance(self) -> int:
        """Bits 57-60."""
        return self.value >> 56 & 0xF

    @property
    def industry_group(self) -> int:
        """Bits 61-63."""
        return self.value >> 60 & 7

    @property
    def self_configurable(self) -> bool:
        """Bit 64: may take another address."""
        return bool(self.value >> 63)

    @property
    def off_board(self) -> bool:
        """Tell whether it is a service tool or data logger, which belongs to no machine: functions
        129 and 130 of non-specific systems (SAE J1939, reference list of functions)."""
        return self.device_class == 0 and self.function in (129, 130)

    @property
    def box(self) -> tuple[int, int]:
        """What NAMEs of one physical unit share: manufacturer code and identity number."""
        return self.manufacturer_code, self.identity_number

    @property
    def place(self) -> tuple[int, int, int, int, int, int]:
        """What stays when a unit is swapped for another of its kind: the NAME less its box."""
        return (
            self.industry_group,
            self.device_class,
            self.device_class_instance,
            self.function,
            self.function_instance,
            self.ecu_instance,
        )


@dataclass(frozen=True, slots=True)
class AddressHeld:
    """One stretch in which a NAME held an address."""

    channel: str
    address: int
    name: Name
    first_us: int
    last_us: int


@dataclass(frozen=True, slots=True)
class ControllerSeen:
    """One sender of one visit: a source address, with its NAME where one was claimed."""

    channel: str
    address: int
    name: Name | None
    first_us: int
    last_us: int
    frames: int
    dm1_manner: Dm1Manner
    dm1_messages: int
    dm1_by_transport: int
    dm1_all_clear: int
    """DM1 messages that listed no fault."""
    after_run_s: float | None
    """How much longer it spoke than the first to fall silent at key-off; None: no key-off seen."""
    vin: str | None = None
    component: tuple[str, ...] = ()
    """Make, model, serial, unit, as sent (65259)."""
    software: tuple[str, ...] = ()
    """Software identification fields (65242)."""
    hours_first: float | None = None
    """Total engine hours (SPN 247), first reading."""
    hours_last: float | None = None
