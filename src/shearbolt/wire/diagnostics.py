"""Which group is which diagnostic message of SAE J1939-73, and how it is laid out."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

DM1 = 65226

FAULT_LISTS: Final = MappingProxyType(
    {
        DM1: "dm1",
        65227: "dm2",
        65231: "dm6",
        65236: "dm12",
        64949: "dm23",
        64898: "dm27",
        64896: "dm28",
    }
)
"""Groups in the layout of DM1 (`fault_list`): active, previously active, pending emission,
emission with MIL on, previously MIL on, all pending, permanent."""

_OTHERS = {
    65228: "dm3",
    65229: "dm4",
    65230: "dm5",
    58112: "dm7",
    65232: "dm8",
    65233: "dm9",
    65234: "dm10",
    65235: "dm11",
    57088: "dm13",
    55552: "dm14",
    55296: "dm15",
    55040: "dm16",
    54784: "dm17",
    54272: "dm18",
    54016: "dm19",
    49664: "dm20",
    49408: "dm21",
    49920: "dm22",
    64950: "dm24",
    64951: "dm25",
    64952: "dm26",
    40448: "dm29",
    41984: "dm30",
    41728: "dm31",
    41472: "dm32",
    41216: "dm33",
    40960: "dm34",
    40704: "dm35",
    64721: "dm53",
    64722: "dm54",
    64723: "dm55",
    64711: "dm56",
    64710: "dm57",
    64475: "dm58",
}
_WWH_FIRST, _WWH_LAST, _WWH_FIRST_GROUP = 36, 52, 64868

DIAGNOSTIC_GROUPS: Final = MappingProxyType(
    dict(FAULT_LISTS)
    | _OTHERS
    | {
        _WWH_FIRST_GROUP - step: f"dm{_WWH_FIRST + step}"
        for step in range(_WWH_LAST - _WWH_FIRST + 1)
    }
)
"""Every diagnostic group with its short name; DM36 to DM52 run downwards from 64868. DM53 to DM58
are from memory."""


def group_of(short_name: str) -> int | None:
    """Return the group number of a short name like 'dm19'; None when there is none."""
    for pgn, name in DIAGNOSTIC_GROUPS.items():
        if name == short_name:
            return pgn
    return None
