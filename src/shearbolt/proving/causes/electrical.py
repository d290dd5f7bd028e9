"""Causes in sensors, in the circuits of single sensors and controllers, and in shared supplies."""

from __future__ import annotations

from dataclasses import replace

from shearbolt.proving.causes.cause import (
    ENGINES,
    FILTERS,
    GEARBOXES,
    HYDRAULIC,
    Cause,
    Growth,
    Worsen,
)
from shearbolt.proving.plight import (
    ALWAYS,
    FeedFault,
    Plight,
    RailFault,
    SensorFault,
    When,
    WireFault,
)
from shearbolt.proving.quantities import BOOM, SEAT, STEERING
from shearbolt.proving.sensing import circuit_of

_TRACTORS_THAT_TELL = ("big_tractor", "new_tractor")
_PLACES: dict[int, tuple[str, tuple[str, ...]]] = {
    110: ("coolant temperature sensor", ENGINES),
    105: ("intake manifold temperature sensor", ENGINES),
    174: ("fuel temperature sensor", ("big_tractor", "new_tractor", "truck")),
    175: ("engine oil temperature sensor", ("new_tractor", "forager")),
    177: ("gearbox oil temperature sensor", GEARBOXES),
    1638: ("hydraulic oil temperature sensor", HYDRAULIC),
    100: ("engine oil pressure sensor", ENGINES),
    102: ("boost sensor", ENGINES),
    157: ("rail pressure sensor", ("new_tractor", "truck")),
    91: ("accelerator pedal sensor", ENGINES),
    111: ("coolant level sensor", ("big_tractor", "new_tractor", "forager", "truck")),
    107: ("air filter sensor", ("big_tractor", "new_tractor", "forager", "truck")),
    127: ("gearbox oil pressure sensor", GEARBOXES),
    191: ("output speed sensor", GEARBOXES),
    190: ("engine speed sensor", ENGINES),
    84: ("wheel speed sensor", ("big_tractor", "telehandler", "truck")),
    1873: ("rear hitch position sensor", _TRACTORS_THAT_TELL),
    1879: ("draft sensor", _TRACTORS_THAT_TELL),
    1713: ("hydraulic filter switch", ("telehandler",)),
    3251: ("particulate filter pressure sensor", FILTERS),
    3242: ("exhaust temperature sensor before the filter", FILTERS),
    3246: ("exhaust temperature sensor behind the filter", FILTERS),
    3216: ("NOx sensor before the catalyst", FILTERS),
    3226: ("NOx sensor behind the catalyst", FILTERS),
    3516: ("reductant quality sensor", FILTERS),
    1761: ("reductant level sensor", FILTERS),
    96: ("fuel level sensor", ("big_tractor", "new_tractor", "forager", "telehandler", "truck")),
    1087: ("brake air sensor of the first circuit", ("truck",)),
    598: ("clutch switch", ("new_tractor", "truck")),
    597: ("brake switch", ("new_tractor", "telehandler", "truck")),
    SEAT: ("seat switch", ("big_tractor", "new_tractor", "telehandler", "forager")),
    STEERING: ("steering angle sensor", ("big_tractor", "new_tractor", "telehandler", "forager")),
    BOOM: ("boom angle sensor", ("telehandler",)),
}  # fmt: skip
"""Word for what carries each signal, and the machines that have it."""


def _sensors(*faults: SensorFault) -> Worsen:
    """Return a worsening by sensor faults: sizes grow with severity, gains from 1, shares too."""

    def worsen(plight: Plight, severity: float) -> Plight:
        grown = []
        for one in faults:
            if one.kind in ("offset", "noise", "slow"):
                grown.append(replace(one, size=one.size * severity))
            elif one.kind == "gain":
                grown.append(replace(one, size=1.0 + (one.size - 1.0) * severity))
            else:
                grown.append(replace(one, when=_more(one.when, severity)))
        return replace(plight, sensors=(*plight.sensors, *grown))

    return worsen


def _more(when: When, severity: float) -> When:
    """Return moments that are the more the worse it is; what is always there stays so."""
    return when if when.share >= 1.0 else replace(when, share=when.share * severity)


def _wire(fault: WireFault) -> Worsen:
    def worsen(plight: Plight, severity: float) -> Plight:
        one = replace(fault, ohm=fault.ohm * severity, when=_more(fault.when, severity))
        return replace(plight, wires=(*plight.wires, one))

    return worsen


def _rail(fault: RailFault) -> Worsen:
    def worsen(plight: Plight, severity: float) -> Plight:
        # A dead short is one at any severity that comes and goes; a sag deepens.
        volts = fault.volts if fault.volts < 1.0 else 5.0 + (fault.volts - 5.0) * severity
        one = replace(fault, volts=volts, when=_more(fault.when, severity))
        return replace(plight, rails=(*plight.rails, one))

    return worsen


def _feed(fault: FeedFault) -> Worsen:
    def worsen(plight: Plight, severity: float) -> Plight:
        one = replace(fault, ohm=fault.ohm * severity, when=_more(fault.when, severity))
        return replace(plight, feeds=(*plight.feeds, one))

    return worsen


def _sensor(
    form: str, spn: int, words: str, kind: str, size: float, fmis: tuple[int, ...],
    when: When = ALWAYS, pivot: float = 0.0, growth: Growth = "steady",
) -> Cause:  # fmt: skip
    name, machines = _PLACES[spn]
    fault = SensorFault(spn, kind, size, None, when, pivot)  # type: ignore[arg-type]
    return Cause(
        f"sensor.{form}.{spn}", "sensor", words.format(name), _sensors(fault), machines,
        tuple((spn, fmi) for fmi in fmis), (spn,),
        growth,
    )  # fmt: skip


_NAN = float("nan")
SENSOR: tuple[Cause, ...] = (
    *(
        _sensor("drift", spn, "The {} has drifted.", "offset", size, fmis, growth="creeping")
        for spn, size, fmis in (
            (110, 24.0, (16, 20)), (105, 45.0, (16, 20)), (174, 40.0, (16, 20)),
            (175, 45.0, (16, 20)), (177, 48.0, (16, 20)), (1638, 45.0, (16, 20)),
            (3242, -160.0, (18, 21)), (3246, 180.0, (16, 20)), (3216, -280.0, (18, 21)),
            (3226, 420.0, (16, 20)), (3516, -14.0, (18, 21)), (100, -170.0, (18, 21)),
            (127, -700.0, (18, 21)),
        )
    ),
    *(
        _sensor("offset", spn, "The zero of the {} has moved.", "offset", size, fmis)
        for spn, size, fmis in (
            (100, 95.0, (2, 20)), (102, 24.0, (2, 20)), (3251, 3.2, (2, 20)),
            (107, 1.8, (2, 20)), (157, 14.0, (2, 20)), (91, 9.0, (2, 13)),
        )
    ),
    *(
        _sensor("stuck", spn, "The {} is stuck at one value.", "stuck", size, fmis,
                growth="sudden")
        for spn, size, fmis in (
            (100, 200.0, (2,)), (110, _NAN, (2,)), (1638, 41.0, (2,)), (84, 0.0, (2,)),
            (1873, 48.0, (2,)), (1713, 1.0, (0, 31)), (598, 1.0, (2, 31)), (597, 1.0, (2, 31)),
            (1761, 62.0, (2,)), (3516, 32.5, (2,)), (3246, 260.0, (2,)), (SEAT, 0.0, (2,)),
        )
    ),
    *(
        _sensor("noisy", spn, "The track of the {} is worn: its signal jumps.", "noise", size,
                (2,), When("vibration", 0.12))
        for spn, size in ((91, 14.0), (1873, 11.0), (96, 12.0), (100, 90.0), (3251, 2.6),
                          (BOOM, 9.0), (STEERING, 14.0))
    ),
    *(
        _sensor("gain", spn, "The {} reads too little over all of its range.", "gain", size, (18,),
                growth="creeping")
        for spn, size in ((102, 0.55), (157, 0.7), (1087, 0.7))
    ),
    *(
        _sensor("dropout", spn, "The {} has chips on its tip and loses pulses.", "dropout", 0.0,
                (2, 8), When("running", 0.0, 0.05, 0.3))
        for spn in (191, 190, 84)
    ),
    _sensor("hose_off", 3251, "A hose of the {} has come off.", "gain", 0.03, (1, 18),
            growth="sudden"),
    _sensor("hose_wet", 3251, "Water stands in a hose of the {}.", "slow", 60.0, (2, 16)),
)  # fmt: skip


def _wired(
    form: str, spn: int, words: str, kind: str, fmis: tuple[int, ...], when: When = ALWAYS,
    ohm: float = 0.0, growth: Growth = "sudden",
) -> Cause:  # fmt: skip
    name, machines = _PLACES[spn]
    fault = WireFault(spn, kind, ohm, None, when)  # type: ignore[arg-type]
    return Cause(
        f"wiring.{form}.{spn}", "wiring", words.format(name), _wire(fault), machines,
        tuple((spn, fmi) for fmi in fmis), (spn,),
        growth,
    )  # fmt: skip


def _open_fmi(spn: int) -> tuple[int, ...]:
    """Return the FMIs of an open wire: it depends on where the input pulls."""
    circuit = circuit_of(spn)
    if circuit.kind == "pulse":
        return (2, 8)
    if circuit.kind == "smart":
        return (9, 19)
    if circuit.kind == "exhaust":
        return (3, 5)
    return (3, 5) if circuit.pull == "up" else (4, 5)


_FEEDS: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("transmission", "gearbox controller", ("big_tractor", "new_tractor", "telehandler", "truck")),
    ("treatment", "exhaust treatment controller", ("new_tractor",)),
    ("hydraulics", "hydraulics controller", ("telehandler",)),
    ("machine", "machine controller", ("forager",)),
    ("cab", "cab controller", ("big_tractor", "new_tractor", "forager", "truck")),
    ("engine", "engine controller", ENGINES),
)

WIRING: tuple[Cause, ...] = (
    *(
        _wired("open", spn, "The wire to the {} is broken.", "open", _open_fmi(spn))
        for spn in (110, 105, 174, 177, 1638, 100, 102, 157, 111, 127, 191, 84, 1873, 3251, 3242,
                    3246, 96, 1087)
    ),
    *(
        _wired("short_minus", spn, "The signal wire of the {} touches the frame.", "short_minus",
               (4,))
        for spn in (110, 105, 177, 1638, 100, 102, 157, 1873, 3251, 91)
    ),
    *(
        _wired("short_plus", spn, "The signal wire of the {} touches a live one.", "short_plus",
               (3,))
        for spn in (110, 105, 100, 102, 157, 1873, 3251, 91, 127)
    ),
    *(
        _wired("resistance", spn, "The plug of the {} is green with corrosion.", "resistance",
               fmis, ohm=ohm, growth="creeping")
        for spn, ohm, fmis in ((110, 2600.0, (17, 3)), (1638, 4200.0, (18, 3)),
                               (177, 2600.0, (18, 3)), (105, 5200.0, (21, 3)),
                               (100, 60_000.0, (18, 4)), (3242, 90.0, (20, 2)))
    ),
    *(
        _wired("chafed_vibration", spn, "The cable to the {} rubs through where it shakes.", "open",
               (*_open_fmi(spn), 2), When("vibration", 0.36, 0.25, 0.5), growth="steady")
        for spn in (100, 110, 102, 157, 191, 84, 3251, 3242, 127)
    ),
    *(
        _wired("chafed_steering", spn, "The cable to the {} is pinched near full lock.", "open",
               (*_open_fmi(spn), 2), When("steering", 72.0, 0.45, 0.35), growth="steady")
        for spn in (191, 84, 597, STEERING)
    ),
    _wired("chafed_boom", BOOM, "The cable to the {} chafes when the boom is high.", "open", (4, 2),
           When("boom", 65.0, 0.5, 0.4), growth="steady"),
    _wired("chafed_hitch", 1873, "The cable to the {} is stretched when the hitch is up.", "open",
           (4, 2), When("hitch", 80.0, 0.5, 0.4), growth="steady"),
    *(
        _wired("wet", spn, "Water got into the plug of the {} at washing.", "resistance",
               fmis, When("wet", 0.12, 0.75, 3.0), ohm=ohm)
        for spn, ohm, fmis in ((110, 5000.0, (18, 2)), (3251, 90_000.0, (4, 2)),
                               (1638, 6000.0, (18, 2)), (100, 90_000.0, (4, 18)),
                               (1873, 120_000.0, (4, 2)))
    ),
    *(
        Cause(f"wiring.feed_loose.{key}", "wiring",
              f"The supply plug of the {name} is not locked and opens when shaken.",
              _feed(FeedFault(key, float("inf"), When("vibration", 0.36, 0.12, 2.5))), machines,
              ((639, 9),), (), "steady")
        for key, name, machines in _FEEDS
    ),
    *(
        Cause(f"wiring.feed_resistance.{key}", "wiring",
              f"The fuse holder of the {name} is burnt.",
              _feed(FeedFault(key, 3.6)), machines, ((158 if key == "engine" else 168, 18),), (),
              "creeping")
        for key, name, machines in _FEEDS if key != "engine"
    ),
    Cause("wiring.implement_plug", "wiring",
          "The power pins of the implement's plug are burnt: the wagon loses power when it works.",
          _feed(FeedFault("wagon", 8.0, When("pickup", 0.0, 0.3, 2.0))),
          ("loader_wagon",), ((627, 2),), (), "creeping"),
    Cause("wiring.wagon_cable", "wiring",
          "The cable to the pick-up's valve chafes at the drawbar.",
          _wire(WireFault(521_010, "open", 0.0, "wagon", When("steering", 40.0, 0.4, 1.0))),
          ("loader_wagon",), ((521_010, 5),), (521_010,), "steady"),
)  # fmt: skip


_RAILS: tuple[tuple[str, str, str, tuple[str, ...], tuple[int, ...]], ...] = (
    ("engine", "A", "the engine's pressure sensors", ENGINES, (100, 102, 94)),
    ("engine", "B", "pedal and rail pressure sensor", ("new_tractor", "truck"), (91, 157, 111)),
    ("transmission", "G", "the gearbox's sensors", GEARBOXES, (127,)),
    ("tractor", "H", "the rear hitch's sensors", ("new_tractor",), (1873, 1879)),
    ("implement_gateway", "H", "the rear hitch's sensors", ("big_tractor",), (1873, 1879)),
    ("brakes", "L", "the brake air sensors", ("truck",), (1087, 1088)),
)
_TROUBLES: tuple[tuple[str, str, float, When, int, Growth], ...] = (
    ("short", "The 5 V supply of {} is shorted to the frame.", 0.15, ALWAYS, 4, "sudden"),
    ("sag", "The 5 V supply of {} sags: one of them draws it down.", 3.2, ALWAYS, 4, "creeping"),
    ("chafed", "The 5 V wire of {} touches the frame when it shakes.", 0.15,
     When("vibration", 0.36, 0.2, 0.6), 4, "steady"),
    ("over", "The 5 V wire of {} touches a live one.", 7.6, ALWAYS, 3, "sudden"),
)  # fmt: skip
_SUPPLY_SPN = {"A": 3509, "B": 3510, "G": 3511, "H": 3511, "L": 3509}

SHARED_SUPPLY: tuple[Cause, ...] = tuple(
    Cause(
        f"shared_supply.{form}.{controller}_{rail.lower()}", "shared_supply", words.format(name),
        _rail(RailFault(controller, rail, volts, when)), machines,
        ((_SUPPLY_SPN[rail], fmi), *((spn, fmi) for spn in spns)), spns,
        growth,
    )
    for controller, rail, name, machines, spns in _RAILS
    for form, words, volts, when, fmi, growth in _TROUBLES
)  # fmt: skip
