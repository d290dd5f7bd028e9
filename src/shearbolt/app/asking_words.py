"""What asking did and why it ended, in sentences for people."""

from __future__ import annotations

from shearbolt.act import ADDRESS, Ended, Request, Stand, askable_groups
from shearbolt.app.live_words import rate_words
from shearbolt.model.frames import EXTENDED, PlainFrame
from shearbolt.wire.identifier import TO_ALL, destination_of, pgn_of
from shearbolt.wire.request import REQUEST
from shearbolt.wire.transport_control import CONTROL_GROUP, Step

STANDS = "--yes-machine-stands"
"""How a person gives the word."""
_CAUTION = (
    "Ask only a machine that stands still with the brake on, nothing raised or running that could "
    "move, and nobody working on it."
)


def frame_words(frame: PlainFrame, requests: list[Request] | None = None) -> str:
    """Say what a frame of ours is."""
    if not frame.flags & EXTENDED or frame.ident >> 16 & 0xFF in (0xDA, 0xDB):
        if frame.data[0] >> 4 == 3:
            return "flow control: go on with the answer (ISO 15765-2)"
        payload = frame.data[1 : 1 + frame.data[0]]
        what = next((one.what for one in requests or () if one.payload == payload), "")
        return f"reads {payload.hex(' ').upper()}{f': {what}' if what else ''} (SAE J1979)"
    pgn, destination = pgn_of(frame.ident), destination_of(frame.ident)
    whom = "all" if destination == TO_ALL else f"address {destination}"
    if pgn == REQUEST:
        asked = int.from_bytes(frame.data, "little")
        what = next((one.what for one in askable_groups() if one.pgn == asked), "")
        return f"asks {whom} for group {asked}: {what}"
    if pgn == CONTROL_GROUP:
        if frame.data[0] == Step.CLEAR:
            return f"tells {whom} to send {frame.data[1]} packets from number {frame.data[2]}"
        return f"tells {whom} that its answer has arrived"
    return f"claims address {ADDRESS} as a service tool that gives way to everybody"


def ended_words(
    why: Ended, stand: Stand, channel: str, bitrate: int | None, tester: str | None
) -> list[str]:
    """Say why asking ended, and what to do."""
    if why is Ended.NOTHING_HEARD:
        return silent_words(channel, bitrate)
    said = {
        Ended.DONE: ["Everything on the list was asked."],
        Ended.NOT_CONFIRMED: [
            "Nothing was sent. What would be sent is listed above.",
            f"{_CAUTION} When that is so, say it with {STANDS}."
            + ("" if stand.ever_told else " The machine tells no speed of its own here.")
            + ("" if stand.engine != "unknown" else " Whether its engine runs is not told either."),
        ],
        Ended.OTHER_KIND: [
            "This is no bus of SAE J1939: only 11-bit identifiers were heard. For a road vehicle "
            "say --road; nothing was sent."
        ],
        Ended.OTHER_TESTER: [
            f"Another tester is connected ({tester}); two testers disturb each other. Nothing "
            "more is sent until it is unplugged."
        ],
        Ended.OBJECTION: [
            f"Somebody holds address {ADDRESS} and objected to our claim, so nothing more is "
            "sent. Unplug the other service tool, or end its session, and ask again."
        ],
        Ended.MOVING: [f"The machine moves ({_moving(stand)}), so nothing more is sent."],
        Ended.SPEED_LOST: [
            "The machine's own speed readings do not show that it stands still (they are missing, "
            "or have not stood at zero for three seconds), so nothing more is sent."
        ],
        Ended.BUS_SILENT: [
            "Nothing answers any more: the bus fell silent, or nobody there understands. Is the "
            "key still on?"
        ],
        Ended.STOPPED: ["Stopped by hand; nothing more is sent."],
        Ended.ADAPTER: ["The adapter failed; nothing more is sent."],
    }
    return said[why]


def silent_words(channel: str, bitrate: int | None) -> list[str]:
    """Say why a plug may be silent (pins: SAE J1939-13, ISO 15031-3, from memory)."""
    other = "" if bitrate is None else f" than {rate_words(bitrate)}"
    return [
        f"Nothing is heard on {channel}, so nothing was sent; what it may be follows.",
        "Perhaps the key is off: turn it on, the engine need not run.",
        "Perhaps the plug sits behind a gateway that tells nothing unless it is asked, as on road "
        f"vehicles: with --road, --bitrate and {STANDS} it is asked all the same.",
        "Perhaps it is the other pair of pins: C and D of the round plug carry the machine's bus, "
        "H and J the implement's; 6 and 14 of the flat plug are the usual pair, 3 and 11 a "
        "truck's second.",
        f"Perhaps the bit rate is another one{other}: green round plugs are 500 kbit/s, black "
        "ones 250.",
    ]


def _moving(stand: Stand) -> str:
    told = [one for one in stand.speeds if not one.still]
    return "; ".join(
        f"{one.name} {one.value:.1f} {one.unit} by address {one.address}" for one in told
    )
