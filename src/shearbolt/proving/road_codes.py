"""The trouble codes of the pickup: which P-code its engine sets for which cause, and from when."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from shearbolt.proving.causes import Active
from shearbolt.proving.road_services import RoadCodes
from shearbolt.proving.truth import Cause as CauseClass

_CODES: Mapping[tuple[int, int], str] = {
    (110, 16): "P0217", (110, 0): "P0217", (110, 17): "P0128", (110, 18): "P0128",
    (110, 20): "P0116", (110, 2): "P0119", (110, 3): "P0118", (110, 4): "P0117",
    (110, 5): "P0118", (105, 16): "P0127", (105, 20): "P0111", (105, 3): "P0113",
    (105, 4): "P0112", (105, 18): "P0111", (102, 18): "P0299", (1127, 18): "P0299",
    (102, 2): "P0236", (102, 3): "P0238", (102, 4): "P0237", (102, 13): "P0236",
    (100, 18): "P0524", (100, 1): "P0524", (100, 2): "P0521", (100, 3): "P0523",
    (100, 4): "P0522", (100, 13): "P0521", (91, 2): "P2138", (91, 3): "P2123", (91, 4): "P2122",
    (91, 13): "P2138", (107, 16): "P0101", (94, 18): "P0087", (157, 18): "P0087",
    (157, 1): "P0087", (97, 31): "P2269", (97, 15): "P2264", (168, 18): "P0562",
    (158, 18): "P0562", (168, 1): "P0562", (168, 16): "P0563", (167, 18): "P0620",
    (167, 16): "P0563", (3251, 18): "P2452", (3251, 1): "P2452", (3251, 2): "P2453",
    (3251, 16): "P2463", (3251, 3): "P2455", (3251, 4): "P2454", (3719, 15): "P2463",
    (3719, 16): "P2463", (3720, 15): "P242F", (3720, 16): "P242F", (3226, 16): "P20EE",
    (4364, 18): "P20EE", (3516, 18): "P207F", (3516, 16): "P207F", (3516, 1): "P207F",
    (3242, 18): "P0545", (3242, 21): "P0545", (3242, 3): "P0546", (3242, 16): "P0544",
    (3246, 16): "P2031", (3246, 20): "P2031", (3246, 2): "P2031", (190, 2): "P0336",
    (190, 8): "P0335", (1761, 2): "P203D", (3216, 18): "P2201", (3226, 18): "P229F",
    (3509, 4): "P0642", (3509, 3): "P0643", (639, 9): "U0101", (639, 19): "U0001",
}  # fmt: skip
"""By what a farm engine would set (SAE J2012 numbers; which fits which is our judgement)."""
CONFIRMED_FROM, PENDING_FROM = 0.3, 0.12
"""Severity of the cause from which the code is confirmed, and pending."""


@dataclass(frozen=True, slots=True)
class RoadCode:
    """One code of the pickup, with what is behind it."""

    code: str
    confirmed: bool
    cause: str
    cause_class: CauseClass
    words: str


def road_codes(actives: Sequence[Active], hours: float) -> tuple[RoadCode, ...]:
    """Return the codes that the causes at work have set, each once, the worst cause first."""
    rows: dict[str, RoadCode] = {}
    for one in sorted(actives, key=lambda each: -each.severity(hours)):
        severity = one.severity(hours)
        if severity < PENDING_FROM:
            continue
        code = next((_CODES[shown] for shown in one.cause.shows if shown in _CODES), None)
        if code is not None and code not in rows:
            rows[code] = RoadCode(
                code, severity >= CONFIRMED_FROM, one.cause.key, one.cause.cause_class,
                one.cause.words,
            )  # fmt: skip
    return tuple(rows.values())


def answered_of(rows: Sequence[RoadCode]) -> RoadCodes:
    """Return the codes as the engine answers a tester: confirmed, pending, and UDS status bytes."""
    return RoadCodes(
        tuple(one.code for one in rows if one.confirmed),
        tuple(one.code for one in rows if not one.confirmed),
        tuple((one.code, 0, 0x2F if one.confirmed else 0x24) for one in rows),
    )


__all__ = ["RoadCode", "answered_of", "road_codes"]
