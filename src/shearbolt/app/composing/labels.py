"""What to call machines, controllers and faults."""

from __future__ import annotations

from collections.abc import Collection

from shearbolt.app.composing.tables import FactTables
from shearbolt.book.records import Controller, Fault
from shearbolt.model.controller import Name
from shearbolt.model.fault import MAKER_SPN

KINDS: dict[tuple[int, int], str] = {
    (1, 1): "Truck",
    (2, 1): "Tractor",
    (2, 4): "Seeder",
    (2, 5): "Spreader",
    (2, 6): "Sprayer",
    (2, 7): "Harvester",
    (2, 8): "Root harvester",
    (2, 9): "Forage machine",
    (2, 11): "Trailer",
    (2, 24): "Utility vehicle",
    (2, 25): "Slurry tanker",
    (2, 26): "Feeder",
    (2, 28): "Mower",
    (3, 1): "Skid-steer loader",
    (3, 5): "Excavator",
    (3, 7): "Loader",
}
"""Short names of machines by industry group and device class (SAE J1939-81, ISO 11783-5)."""


def suggested_name(
    names: Collection[Name], vin: str | None, implement: bool, road: bool, taken: Collection[str]
) -> str:
    """Make up a name for a machine nobody has named yet, unlike any taken."""
    kind = "Implement" if implement else ("Road vehicle" if road else "Machine")
    for name in sorted(names, key=lambda one: (one.function, one.value)):
        if (found := KINDS.get((name.industry_group, name.device_class))) is not None:
            kind = found
            break
    stem = f"{kind} …{vin[-4:]}" if vin else kind
    if vin and stem not in taken:
        return stem
    number = 1
    while f"{stem} {number}" in taken:
        number += 1
    return f"{stem} {number}"


def controller_words(controller: Controller | None, name: Name | None, tables: FactTables) -> str:
    """Say which controller: its label, else its function, else its address."""
    if controller is None:
        return "not known"
    if controller.label:
        return controller.label
    if name is not None:
        return tables.function_text(name)
    group = controller.place[0] if controller.place is not None else None
    return tables.address_text(controller.address, group)


def fault_words(
    fault: Fault, tables: FactTables, name: Name | None = None
) -> tuple[str, str | None]:
    """Return the plain words of a fault, and the owner's own text where there is one."""
    own = tables.own_text(fault, name)
    if fault.kind in ("obd", "uds") and fault.spn is None:
        return own or tables.road_code_text(fault.code or ""), own
    if fault.spn is not None and fault.fmi is not None:
        return own or tables.fault_text(fault.spn, fault.fmi), own
    return own or (fault.code or "not known"), own


def code_words(fault: Fault) -> str:
    """Write the code itself: 'SPN 110 FMI 0', 'P0217', or what the person typed."""
    if fault.spn is not None:
        maker = " (maker's own)" if fault.spn >= MAKER_SPN else ""
        return f"SPN {fault.spn} FMI {fault.fmi}{maker}"
    return fault.code or ""
