"""What the control units of a road vehicle answer: SAE J1979 services and a few of ISO 14229.

Without input or output: a service request's bytes in, the answer's bytes out (or None: silence).
Numbers are most significant byte first, as both standards have them. Lengths, scales and the list
of what is supported are in `_PIDS`; the support lists (00, 20, 40) are made from it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from shearbolt.proving.readiness import complete_at
from shearbolt.proving.trace import STEP_S, Trace

_CONDITIONS, _RANGE, _SERVICE, _SUBFUNCTION = 0x22, 0x31, 0x11, 0x12
"""Negative responses (ISO 14229-1): conditions not correct, out of range, not supported."""
MOST_IDS = 6
"""So many PIDs in one request of service 01 (SAE J1979)."""


@dataclass(frozen=True, slots=True)
class RoadCodes:
    """The trouble codes that the engine control unit of a road vehicle holds."""

    confirmed: tuple[str, ...]
    """P-codes that mode 03 lists."""
    pending: tuple[str, ...]
    """P-codes that mode 07 lists."""
    status: tuple[tuple[str, int, int], ...]
    """Code, failure type and status byte that service 19 02 lists."""
    permanent: tuple[str, ...] = ()
    """P-codes that mode 0A lists; no clear takes them away."""


def code_bytes(code: str) -> bytes:
    """Pack a code such as P0299 or U0100 into two bytes (SAE J2012).

    Raises ValueError for anything else.
    """
    letter, digits = code[:1], code[1:]
    if letter not in "PCBU" or len(digits) != 4 or digits[0] not in "0123":
        raise ValueError(f"{code!r} is no trouble code")
    return ("PCBU".index(letter) << 14 | int(digits, 16)).to_bytes(2, "big")


def _byte(value: float) -> bytes:
    return bytes((min(255, max(0, round(value))),))


def _word(value: float) -> bytes:
    return min(65_535, max(0, round(value))).to_bytes(2, "big")


_PIDS: Mapping[int, Callable[[Trace, int], bytes]] = {
    0x04: lambda t, i: _byte(float(t.load_pct[i]) * 2.55),
    0x05: lambda t, i: _byte(float(t.coolant_c[i]) + 40.0),
    0x0B: lambda t, i: _byte(float(t.boost_kpa[i] + t.barometer_kpa[i])),
    0x0C: lambda t, i: _word(float(t.engine_rpm[i]) * 4.0),
    0x0D: lambda t, i: _byte(float(t.speed_km_h[i])),
    0x0F: lambda t, i: _byte(float(t.intake_c[i]) + 40.0),
    0x1C: lambda t, i: bytes((6,)),
    0x1F: lambda t, i: _word(float(t.running[: i + 1].sum()) * STEP_S),
    0x2F: lambda t, i: _byte(float(t.fuel_pct[i]) * 2.55),
    0x33: lambda t, i: _byte(float(t.barometer_kpa[i])),
    0x42: lambda t, i: _word(float(t.battery_v[i]) * 1000.0),
    0x46: lambda t, i: _byte(float(t.ambient_c[i]) + 40.0),
}
"""Values of service 01 that come from the machine."""
_COUNTED = (0x01, 0x21, 0x30, 0x31)
"""And those that come from the unit's memory: status, km with the MIL, warm-ups, km since clear."""
_FROZEN = (0x02, 0x04, 0x05, 0x0B, 0x0C, 0x0D)
_INFORMATION = (0x02, 0x04, 0x06, 0x0A)


def support(base: int, known: tuple[int, ...]) -> bytes:
    """Return the four bytes that say which of the 32 identifiers after `base` there are."""
    there = sum(1 << (base + 32 - one) for one in known if base < one <= base + 32)
    if any(one > base + 32 for one in known):
        there |= 1
    return there.to_bytes(4, "big")


@dataclass(slots=True)
class RoadUnit:
    """One control unit of a road vehicle; only a clear changes it."""

    trace: Trace
    vin: str
    codes: RoadCodes
    calibration: str = "PK23-1147-0702"
    verification: int = 0x5A31_0F7C
    name: str = "ECM-EngineControl"
    gearbox: bool = False
    """A second unit on the bus: it has codes of its own (none), and few services."""
    cleared_s: float | None = None
    mil_km: float = 38.0
    clear_km: float = 2750.0
    clear_warm_ups: int = 71
    refused: list[float] = field(default_factory=list)
    """When it refused a clear."""

    def answer(self, request: bytes, at_s: float, functional: bool = False) -> bytes | None:
        """Return the answer to one request; None: it keeps silent.

        A request to all brings no 'not supported' (ISO 15765-4).
        """
        if not request:
            return None
        service = request[0]
        said = self._service(service, request[1:], at_s)
        if isinstance(said, bytes):
            return bytes((service | 0x40,)) + said
        if said is None or (functional and said in (_SERVICE, _SUBFUNCTION, _RANGE)):
            return None
        return bytes((0x7F, service, said))

    def _service(self, service: int, body: bytes, at_s: float) -> bytes | int | None:
        """Return the answer's body, the code of a refusal, or None for silence."""
        if service in (0x03, 0x07, 0x0A):
            few = {0x03: self.confirmed, 0x07: self.pending, 0x0A: self.permanent}[service]
            return bytes((len(few),)) + b"".join(code_bytes(one) for one in few)
        if service in (0x10, 0x3E):
            return body[:1] + (bytes.fromhex("003201f4") if service == 0x10 else b"")
        if service == 0x22:
            return self._data(body)
        if self.gearbox:
            return _SERVICE
        if service == 0x01:
            return self._now(body, at_s)
        if service == 0x02:
            return self._frozen(body, at_s)
        if service in (0x04, 0x14):
            return self._clear(at_s)
        if service == 0x09:
            return self._information(body)
        return self._uds_codes(body) if service == 0x19 else _SERVICE

    @property
    def confirmed(self) -> tuple[str, ...]:
        """Confirmed codes; none after a clear."""
        return () if self.cleared_s is not None or self.gearbox else self.codes.confirmed

    @property
    def pending(self) -> tuple[str, ...]:
        """Pending codes; none after a clear."""
        return () if self.cleared_s is not None or self.gearbox else self.codes.pending

    @property
    def permanent(self) -> tuple[str, ...]:
        """Permanent codes: a clear leaves them."""
        return () if self.gearbox else self.codes.permanent

    def _step(self, at_s: float) -> int:
        return min(int(at_s / STEP_S), len(self.trace.time_s) - 1)

    def _now(self, pids: bytes, at_s: float) -> bytes | None:
        known = tuple(sorted((*_PIDS, *_COUNTED)))
        out = b""
        for pid in pids[:MOST_IDS]:
            if pid in (0x00, 0x20, 0x40):
                out += bytes((pid,)) + support(pid, known)
            elif pid in _PIDS:
                out += bytes((pid,)) + _PIDS[pid](self.trace, self._step(at_s))
            elif pid in _COUNTED:
                out += bytes((pid,)) + self._counted(pid, at_s)
        return out or None

    def _counted(self, pid: int, at_s: float) -> bytes:
        since = self.cleared_s
        metres = self.trace.distance_m
        driven = float(metres[self._step(at_s)] - metres[self._step(since or 0.0)]) / 1000.0
        if pid == 0x30:
            return _byte(self.clear_warm_ups if since is None else 0)
        if pid == 0x21:
            lit = driven if self.confirmed else 0.0
            return _word(lit + (self.mil_km if since is None else 0.0))
        if pid == 0x31:
            return _word(driven + (self.clear_km if since is None else 0.0))
        lamp = (0x80 if self.confirmed else 0) | len(self.confirmed)
        # Compression ignition: byte B bit 4; what is there in C, what has not run in D.
        components = complete_at(self.trace, "components", since or 0.0) <= at_s
        ran = since is None or complete_at(self.trace, "egr_vvt", since) <= at_s
        second = 0x0E | (0x00 if components or since is None else 0x40)
        return bytes((lamp, second, 0xEB, 0x42 if ran else 0xEB))

    def _frozen(self, body: bytes, at_s: float) -> bytes | None:
        """Return the frame of the first confirmed code: as it was when the trace began."""
        if not body or not self.confirmed:
            return None
        pid = body[0]
        if pid == 0x00:
            return b"\0\0" + support(0, _FROZEN)
        if pid == 0x02:
            return b"\x02\0" + code_bytes(self.confirmed[0])
        return None if pid not in _FROZEN else bytes((pid, 0)) + _PIDS[pid](self.trace, 0)

    def _information(self, body: bytes) -> bytes | None:
        kind = body[0] if body else 0xFF
        if kind == 0x00:
            return b"\0" + support(0, _INFORMATION)
        text = {
            0x02: self.vin.encode("ascii"),
            0x04: self.calibration.encode("ascii").ljust(16, b"\0"),
            0x06: self.verification.to_bytes(4, "big"),
            0x0A: self.name.encode("ascii").ljust(20, b"\0"),
        }.get(kind)
        return None if text is None else bytes((kind, 1)) + text

    def _clear(self, at_s: float) -> bytes | int:
        """Clear everything, the engine stopped; refused while it runs."""
        if self.trace.running[self._step(at_s)]:
            self.refused.append(at_s)
            return _CONDITIONS
        self.cleared_s = at_s
        return b""

    def _uds_codes(self, body: bytes) -> bytes | int:
        if len(body) < 2 or body[0] != 0x02:
            return _SUBFUNCTION
        rows = () if self.cleared_s is not None else self.codes.status
        listed = b"".join(
            code_bytes(code) + bytes((kind, status))
            for code, kind, status in rows
            if status & body[1]
        )
        return b"\x02\xff" + listed

    def _data(self, body: bytes) -> bytes | int:
        if body[:2] == b"\xf1\x90" and not self.gearbox:
            return b"\xf1\x90" + self.vin.encode("ascii")
        return _RANGE


def known_pids() -> tuple[int, ...]:
    """Return the identifiers of service 01 that the engine's unit answers, without lists."""
    return tuple(int(one) for one in np.unique((*_PIDS, *_COUNTED)))
