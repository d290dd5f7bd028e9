"""Who a controller is: the functions and classes of a NAME, and the usual source addresses.

`data/functions.csv` and `data/addresses.csv` (SAE J1939-81, ISO 11783-5). Manufacturer codes stay
numbers: there is no table of makers here.
"""

from __future__ import annotations

from functools import cache

from shearbolt.dictionary.tables import number_or_none, table
from shearbolt.errors import DictionaryError
from shearbolt.model.controller import Name

FREE_ADDRESSES = range(128, 236)
"""Claimed freely: known by NAME only (SAE J1939-81)."""
SHARED_FUNCTIONS = range(128)
"""Functions that mean the same in every industry group (ISO 11783-5)."""

_Key = tuple[str, int | None, int | None, int]


@cache
def _functions() -> dict[_Key, str]:
    found: dict[_Key, str] = {}
    for fields in table("functions"):
        try:
            key = (
                fields["kind"],
                number_or_none(fields["industry_group"]),
                number_or_none(fields["device_class"]),
                int(fields["number"]),
            )
        except ValueError as error:
            raise DictionaryError(f"functions.csv: a row cannot be read: {fields}") from error
        found[key] = fields["text"]
    return found


@cache
def _addresses() -> dict[tuple[int, int | None], str]:
    try:
        return {
            (int(fields["address"]), number_or_none(fields["industry_group"])): fields["text"]
            for fields in table("addresses")
        }
    except ValueError as error:
        raise DictionaryError("addresses.csv: a number cannot be read") from error


def industry_group_text(industry_group: int) -> str:
    """Name an industry group, 0 to 7; a number that no table names is shown as its number."""
    return _functions().get(("industry_group", None, None, industry_group)) or (
        f"industry group {industry_group}"
    )


def device_class_text(industry_group: int, device_class: int) -> str:
    """Name a device class (vehicle system) of an industry group, or show its number."""
    known = _functions()
    return (
        known.get(("device_class", industry_group, None, device_class))
        or known.get(("device_class", None, None, device_class))
        or f"device class {device_class}"
    )


def function_text(name: Name) -> str:
    """Name the function of a controller, with its instance where it is not the first.

    Functions from 128 up depend on industry group and device class; one that no table names is
    shown as its number.
    """
    known = _functions()
    function = name.function
    if function in SHARED_FUNCTIONS:
        text = known.get(("function", None, None, function))
    else:
        text = known.get(
            ("function", name.industry_group, name.device_class, function)
        ) or known.get(("function", name.industry_group, None, function))
    text = text or f"function {function}"
    return f"{text} {name.function_instance + 1}" if name.function_instance else text


def address_text(address: int, industry_group: int | None = None) -> str:
    """Say who usually sits at a source address: 'address 3 (transmission 1)'.

    It is only the preferred use: a NAME, where one was heard, is the better witness. The free
    addresses and those no table names are shown as their number alone.
    """
    known = _addresses()
    text = known.get((address, None))
    if industry_group is not None:
        text = known.get((address, industry_group)) or text
    return f"address {address} ({text})" if text else f"address {address}"
