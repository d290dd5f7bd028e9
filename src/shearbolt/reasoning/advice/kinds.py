"""Which kind a fault is of, as advice goes."""

from __future__ import annotations

from shearbolt.dictionary.advice_kinds import (
    AdviceKind,
    kind_of_code,
    kind_of_road_code,
    kind_of_symptom,
)
from shearbolt.reasoning.case import FaultCase, MachineCase


def kind_of(fault: FaultCase, function: int | None) -> AdviceKind:
    """Give the kind of a fault; `function` is that of its sender's NAME, where known."""
    if fault.kind == "symptom":
        return kind_of_symptom(fault.code or fault.text)
    if fault.spn is not None:
        return kind_of_code(fault.spn, fault.fmi, fault.address, function)
    return kind_of_road_code(fault.code or "")


def function_of(fault: FaultCase, case: MachineCase) -> int | None:
    """Give the function in the NAME of a fault's sender, from the last visit that heard it."""
    for visit in reversed(case.visits):
        addresses = {
            (one.seen.key.channel, one.seen.key.address)
            for one in visit.faults
            if one.fault == fault.fault
        }
        for one in visit.controllers:
            if (one.channel, one.address) in addresses and one.name is not None:
                return one.name.function
    return None
