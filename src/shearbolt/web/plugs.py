"""Connectors on machines: how to tell them by their pins, and what they carry.

Every fact has its source: the standard and what is known of it, or 'from memory'. Where the pins
lie in the drawings is from memory and common practice; the letter or figure that is moulded beside
a pin is what counts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Carries = Literal["power", "ground", "bus", "second_bus", "other", "free"]
Outline = Literal["round", "long", "large_round"]


@dataclass(frozen=True, slots=True)
class Pin:
    """One pin: what is moulded beside it, what it carries, and where it is drawn."""

    mark: str
    carries: Carries
    words: str
    x: float
    """Across, from the middle; the drawing reaches from -50 to 50."""
    y: float
    """Down, from the middle; the drawing reaches from -50 to 50."""


@dataclass(frozen=True, slots=True)
class Plug:
    """One kind of connector."""

    key: str
    """Last part of its page's address."""
    name: str
    """What to call it."""
    pins_words: str
    """Number and arrangement, as one would count it standing there."""
    where: str
    """Where it is found."""
    tells: str
    """What can be had from it with this program."""
    readable: bool
    """Whether a CAN adapter can listen there."""
    outline: Outline
    pins: tuple[Pin, ...]
    look_for: tuple[str, ...]
    """What to look at to be sure."""
    cautions: tuple[str, ...]
    source: str


def _ring(
    marks: str, facts: dict[str, tuple[Carries, str]], radius: float, start: float
) -> tuple[Pin, ...]:
    """Place pins on a circle, clockwise from `start` degrees (0 is up)."""
    step = 2 * math.pi / len(marks)
    return tuple(
        Pin(
            mark,
            *facts[mark],
            round(radius * math.sin(math.radians(start) + i * step), 1),
            round(-radius * math.cos(math.radians(start) + i * step), 1),
        )
        for i, mark in enumerate(marks)
    )


_NINE: dict[str, tuple[Carries, str]] = {
    "A": ("ground", "battery minus"),
    "B": ("power", "battery plus, not switched by the key"),
    "C": ("bus", "bus high"),
    "D": ("bus", "bus low"),
    "E": ("other", "shield of the bus"),
    "F": ("other", "older data line (J1708) plus"),
    "G": ("other", "older data line (J1708) minus"),
    "H": ("second_bus", "second bus high: the implement bus, or the maker's own"),
    "J": ("second_bus", "second bus low: the implement bus, or the maker's own"),
}
_SIX: dict[str, tuple[Carries, str]] = {
    "A": ("other", "older data line (J1708) plus"),
    "B": ("other", "older data line (J1708) minus"),
    "C": ("power", "battery plus"),
    "D": ("free", "free; on some machines a bus"),
    "E": ("ground", "battery minus"),
    "F": ("free", "free; on some machines a bus"),
}
_SIXTEEN: dict[int, tuple[Carries, str]] = {
    2: ("other", "older data line of passenger cars"),
    3: ("second_bus", "free, or on some trucks a second bus high"),
    4: ("ground", "chassis ground"),
    5: ("ground", "signal ground"),
    6: ("bus", "bus high"),
    7: ("other", "K-line"),
    10: ("other", "older data line of passenger cars"),
    11: ("second_bus", "free, or on some trucks a second bus low"),
    14: ("bus", "bus low"),
    15: ("other", "L-line"),
    16: ("power", "battery plus"),
}
_REAR: dict[str, tuple[Carries, str]] = {
    "1": ("ground", "ground of the heavy supply"),
    "2": ("ground", "ground of the controllers"),
    "3": ("power", "heavy supply for the implement's motors"),
    "4": ("power", "supply of the controllers"),
    "5": ("other", "switch-off of the termination"),
    "6": ("other", "supply of the termination"),
    "7": ("other", "ground of the termination"),
    "8": ("bus", "implement bus high"),
    "9": ("bus", "implement bus low"),
}
_LISTEN = (
    "Plug in with the key off, the machine standing and secured, and an adapter that only listens."
)
_PLUS = "Battery plus is live with the key off: do not poke at pins with metal."

PLUGS: tuple[Plug, ...] = (
    Plug(
        "nine-round",
        "Round, 9 pins",
        "9 pins with letters A to J (there is no I), in a round plug the size of an egg cup.",
        "In the cab by the seat or the fuse box, or under a cap outside it: tractors, harvesters, "
        "loaders and trucks from about the year 2000 on.",
        "The engine and most controllers talk here. This is the plug to listen at.",
        True,
        "round",
        (*_ring("ABCDEFGH", _NINE, 30, -22.5), Pin("J", *_NINE["J"], 0, 0)),
        (
            "Black: 250,000 bits a second. Green: usually 500,000, and a black plug's lead does "
            "not go in.",
            "Pins H and J used: two buses in one plug, often the implement bus beside the "
            "tractor's own. One adapter hears one of them.",
            "Pins F and G alone used beside A and B: an older machine whose data line a CAN "
            "adapter cannot read.",
        ),
        (_LISTEN, _PLUS),
        "SAE J1939-13 (pins A to J and colours: published pin-outs; keying and places of the "
        "pins: from memory)",
    ),
    Plug(
        "six-round",
        "Round, 6 pins",
        "6 pins with letters A to F, in a round plug a little smaller than an egg cup.",
        "Trucks and engines from before about 2000.",
        "Its data line is of an older kind, which a CAN adapter cannot read. Codes are read off "
        "the dash or counted from a blinking lamp: write them down here.",
        False,
        "round",
        _ring("ABCDEF", _SIX, 27, -30),
        ("On a few machines D and F carry a bus; the machine's own manual says so.",),
        (_PLUS,),
        "SAE J1708 (from memory)",
    ),
    Plug(
        "sixteen-long",
        "Long, 16 pins in two rows",
        "Two rows of 8 flat pins, in a plug with slanted ends as long as a finger.",
        "Under the dash on the driver's side: pickups, vans, cars, and some lorries.",
        "What road vehicles must tell of their exhaust: codes, readiness, a few readings. They "
        "tell it only when asked.",
        True,
        "long",
        tuple(
            Pin(
                str(number),
                *_SIXTEEN.get(number, ("free", "the maker's own, or free")),
                (number - 1) % 8 * 11 - 38.5,
                -9 if number < 9 else 9,
            )
            for number in range(1, 17)
        ),
        (
            "The groove between the rows runs through: 12 V. The groove is broken in the middle: "
            "24 V. An adapter for 12 V can be ruined by 24 V.",
            "Pins 6 and 14 used: a bus. Only 7 used: an older line, which a CAN adapter cannot "
            "read.",
        ),
        (_LISTEN, _PLUS),
        "SAE J1962, ISO 15031-3 (from memory)",
    ),
    Plug(
        "rear-nine",
        "Large, 9 pins, at the rear",
        "9 pins with figures 1 to 9, four of them thick, under a spring lid as large as a fist.",
        "At the back of a tractor beside the trailer sockets, and on the implement's lead.",
        "The implement bus: loader wagons, balers, sprayers and the terminal in the cab talk here. "
        "Listen with a lead between tractor and implement, or at the plug in the cab.",
        True,
        "large_round",
        (
            Pin("1", *_REAR["1"], -15, 17),
            Pin("2", *_REAR["2"], -17, -9),
            Pin("3", *_REAR["3"], 15, 17),
            Pin("4", *_REAR["4"], 17, -9),
            Pin("5", *_REAR["5"], -29, 4),
            Pin("6", *_REAR["6"], -16, -29),
            Pin("7", *_REAR["7"], 29, 4),
            Pin("8", *_REAR["8"], 16, -29),
            Pin("9", *_REAR["9"], 0, -36),
        ),
        (
            "Thick pins 1 to 4 are supply and ground; 8 and 9 are the bus.",
            "An implement that keeps vanishing from the terminal has lost power here more often "
            "than its bus: look at pins 1 to 4 for burns and green.",
            "The simple measurement of 60 ohm does not hold here: this bus is closed by "
            "circuits that need power.",
        ),
        (
            "The heavy supply can weld: 60 A and more. Key off before you touch or measure.",
            "An implement can start to move when its power comes back: nobody near it.",
        ),
        "ISO 11783-2 (from memory; places of the pins are a guess: go by the figures)",
    ),
    Plug(
        "cab-nine",
        "Small round, 9 pins, in the cab",
        "9 pins with figures, in a round plug, in the cab to the right of the seat.",
        "Tractors with an implement bus: where a terminal is plugged in.",
        "The implement bus again, with power for a terminal. A good place to listen to implements "
        "from the seat.",
        True,
        "round",
        _ring("123456789", dict.fromkeys("123456789", ("free", "see the machine's manual")), 30, 0),
        ("Which figure carries what stands in the tractor's manual; this page does not guess it.",),
        (_LISTEN,),
        "ISO 11783-2 (from memory)",
    ),
)
"""All kinds, the likeliest on a farm first."""


@dataclass(frozen=True, slots=True)
class Measured:
    """One measurement at a plug, and what it means."""

    what: str
    good: str
    suspect: str


MEASURED: tuple[Measured, ...] = (
    Measured(
        "Bus high to bus low, power off, battery isolated: resistance",
        "60 ohm (54 to 66)",
        "120: one end resistor is missing. 40: there is one too many. Under 5: shorted. Over "
        "1,000: broken.",
    ),
    Measured(
        "Either bus pin to ground, power off: resistance",
        "more than 1,000 ohm",
        "Less: a short, or water in a plug.",
    ),
    Measured(
        "Bus high to ground, key on: voltage",
        "2.6 to 3.0 V",
        "0 V: shorted to ground. Near battery voltage: shorted to plus.",
    ),
    Measured(
        "Bus low to ground, key on: voltage",
        "2.0 to 2.4 V",
        "0 V: shorted to ground. Near battery voltage: shorted to plus.",
    ),
)
"""With a multimeter (60 ohm and the mean voltages: published workshop pages; limits in brackets:
from memory). Not for the implement bus, whose ends need power."""


def plug_of(key: str) -> Plug | None:
    """Find a kind of connector by its key."""
    return next((one for one in PLUGS if one.key == key), None)
