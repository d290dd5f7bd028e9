"""Group L: what other codes of the same circuit say, by the failure modes' own definitions."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from shearbolt.reasoning.company.values import Start
from shearbolt.reasoning.odds.scene import Found, Scene

SAYS: Mapping[int, str] = {
    2: "sibling_erratic",
    3: "sibling_circuit",
    4: "sibling_circuit",
    5: "sibling_circuit",
    6: "sibling_circuit",
    8: "sibling_erratic",
    10: "sibling_erratic",
    12: "sibling_device",
    13: "sibling_calibration",
    20: "sibling_drifted",
    21: "sibling_drifted",
}
"""Failure modes that name a kind of cause (SAE J1939-73), and the evidence that they are."""

CIRCUIT_FMIS = frozenset({3, 4, 5, 6})


def look(scene: Scene) -> Iterator[Found]:
    """Give what other codes of the same parameter and controller say about the same time."""
    if not scene.visits:
        return
    first, last = scene.visits[0], scene.visits[-1]
    seen: dict[str, list[Start]] = {}
    for some in scene.machine.starts.values():
        other = some[0].fault
        if other.spn is None or other.spn != scene.fault.spn or other.fault == scene.fault.fault:
            continue
        key = SAYS.get(other.fmi) if other.fmi is not None else None
        if other.address != scene.fault.address or key is None:
            continue
        if key == SAYS.get(scene.fault.fmi if scene.fault.fmi is not None else -1):
            continue
        if key == "sibling_drifted" and scene.fault.fmi in CIRCUIT_FMIS:
            # A reading at the end of its scale disagrees with its neighbours in any case.
            continue
        # Before the first or after the last spell something else may have been the matter.
        near = [one for one in some if first <= one.visit <= last]
        if near:
            seen.setdefault(key, []).extend(near)
    for key, starts in sorted(seen.items()):
        fmi = starts[0].fault.fmi
        values = (("fmi", float(fmi if fmi is not None else -1)), ("spells", float(len(starts))))
        yield Found(key, values, scene.moments(starts))
