"""What adapters, events and findings of a listening session mean, in sentences for people.

Pins and resistances: SAE J1939-13, ISO 11783-2 and common practice in workshops.
"""

from __future__ import annotations

from shearbolt.app.placing import span_words
from shearbolt.live import Adapter, Event, Finding, Reader, set_up_words
from shearbolt.live.adapters import SYSTEM_INTERFACE
from shearbolt.model.instants import SECOND_US

_MEASURE = (
    "with the power off and the batteries isolated, about 60 ohms should be measured between the "
    "two bus pins (C and D of the round plug, H and J for the implement bus)"
)
SILENT_AFTER_S = 3.0
"""A live bus says something every second."""


def rate_words(bitrate: int | None) -> str:
    """Write a bit rate."""
    return "an unknown rate" if bitrate is None else f"{bitrate / 1000:g} kbit/s"


def adapter_words(reader: Reader, listened_s: float) -> list[str]:
    """Say what a person should know about one adapter now, or check at the plug."""
    adapter, name, said = reader.adapter, reader.adapter.name, list[str]()
    if reader.state == "gone":
        said.append(
            f"The adapter on {name} does not answer ({reader.trouble or 'no reason told'}); it is "
            "tried again twice a second: look at its plug and cable."
        )
    elif reader.no_rate_fits:
        said.append(
            f"On {name} there is something on the wire, but neither at 250 nor at 500 kbit/s: "
            "check that the two bus pins are not swapped or shorted, and that the other pair of "
            f"pins is not the one to use; {_MEASURE}."
        )
    elif not reader.frames and reader.errors and listened_s >= 1.0:
        said.append(_wrong_rate(reader))
    elif not reader.frames and listened_s >= SILENT_AFTER_S:
        said.append(
            f"Nothing is heard on {name}: turn the key on; try the plug's other pair of pins (C "
            "and D carry the machine's bus, H and J the implement's); some plugs sit behind a "
            f"gateway that tells nothing unless it is asked; {_MEASURE}."
        )
    said.extend(listen_only_words(adapter))
    return said


def _wrong_rate(reader: Reader) -> str:
    name = reader.adapter.name
    other = 500_000 if reader.bitrate != 500_000 else 250_000
    if reader.adapter.asked.interface == SYSTEM_INTERFACE:
        how = f"set the other rate with {set_up_words(reader.adapter.asked.channel, other)}"
    else:
        how = f"try --bitrate {other}"
    return (
        f"On {name} there are nothing but errors at {rate_words(reader.bitrate)}, so that is most "
        f"likely the wrong rate: {how} (green plugs are 500 kbit/s, black ones 250); if it stays "
        f"so, {_MEASURE}."
    )


def listen_only_words(adapter: Adapter) -> list[str]:
    """Say it where an adapter does not keep quiet on the wire."""
    if adapter.listen_only == "not_offered":
        return [
            f"The adapter on {adapter.name} offers no listen-only mode: it acknowledges what "
            "others send, so plug it in with the key off, and never at a wrong rate."
        ]
    if adapter.listen_only == "off":
        if adapter.asked.interface != SYSTEM_INTERFACE:
            return [f"The adapter on {adapter.name} was asked not to be in listen-only mode."]
        words = set_up_words(adapter.asked.channel, adapter.bitrate or 250_000)
        return [
            f"{adapter.name} is not in listen-only mode and acknowledges what others send; "
            f"{words} changes that."
        ]
    return []


_EVENTS = {
    "started": "Listening began.",
    "back": "The adapter on {channel} answers again after {gap_s:.1f} s; the time between is "
    "missing.",
    "gone": "The adapter on {channel} is gone ({reason}); it is tried again twice a second.",
    "stamp_jump": "The adapter's own clock on {channel} jumped; the times go on by arrival.",
    "reader_died": "Reading {channel} broke off and was begun again.",
    "reader_stuck": "The adapter's driver on {channel} has not answered for more than 5 s.",
    "disk_full": "{reason}",
    "stopped": "Listening ended.",
    "synced": "Everything so far is on the disk.",
}


def event_words(event: Event) -> str:
    """Say in one sentence what happened."""
    figures = dict(event.figures)
    if event.what == "clock_jump":
        by_us = event.number("by_us")
        return (
            f"The computer's clock was set {'forward' if by_us > 0 else 'back'} by "
            f"{span_words(abs(by_us))}; the times go on from the clock at the start."
        )
    if event.what == "opened":
        bitrate = event.number("bitrate") or None
        at = "" if bitrate is None else f" at {rate_words(bitrate)}"
        found = " (found by listening)" if event.figure("rate_from") == "found" else ""
        return f"Listening on {event.channel}{at}{found}."
    if event.what == "wrong_rate":
        return f"{rate_words(event.number('bitrate'))} is not the rate of {event.channel}."
    if event.what == "overrun":
        who = "the driver" if event.figure("where") == "driver" else "this computer"
        return f"Frames of {event.channel} were lost: {who} could not keep up."
    return _EVENTS[event.what].format(
        channel=event.channel,
        reason=figures.get("reason"),
        gap_s=event.number("gap_us") / SECOND_US,
    )


def _who(addresses: tuple[int, ...], names: dict[int, str]) -> str:
    told = [f"the {names[one]}" if one in names else f"address {one}" for one in addresses]
    return " and ".join([", ".join(told[:-1]), told[-1]] if len(told) > 1 else told)


_ERROR_MEANING = {
    "no_ack": "nobody acknowledges, as when the adapter is alone on the pair of pins",
    "bus_off": "the adapter gave up: a wrong rate or a short between the bus lines",
    "overflow": "the adapter was not read fast enough",
    "protocol": "broken frames: a chafed or wet line, a missing or third terminator, a bad ground, "
    "or a wrong rate",
}


def finding_words(one: Finding, names: dict[int, str], group: str) -> str:
    """Say what a finding is and what it may mean.

    `names` are the controllers by address in plain words, `group` the group concerned.
    """
    who = _who(one.addresses, names) if one.addresses else one.channel
    figure = one.figure or 0.0
    if one.kind == "busy":
        return (
            f"{one.channel} is {figure:.0f} % busy (healthy: 25 to 50): something may be sending "
            f"without pause; {who} sends the most."
        )
    if one.kind == "errors":
        meaning = _ERROR_MEANING.get(one.detail or "protocol", _ERROR_MEANING["protocol"])
        return f"{figure:.0f} error frames on {one.channel} in the last seconds: {meaning}."
    if one.kind == "overrun":
        return (
            f"Frames of {one.channel} were lost on the way in ({figure:.0f} times): the visit "
            "shows faults and readings, but counts of hours and starts cannot be trusted."
        )
    if one.kind == "silent":
        if len(one.addresses) > 1:
            return (
                f"{who} fell silent together {figure:.0f} s ago while others live on: one box with "
                "several names, or units that share a fuse, a ground or a branch of the wiring."
            )
        return (
            f"{who} fell silent {figure:.0f} s ago while others live on: its feed, its ground, its "
            "fuse, or its branch of the bus."
        )
    if one.kind == "missing":
        return (
            f"{group} of {who} is not heard any more ({figure:.0f} s), although {who} still "
            "speaks: it may have lost what it measures, or work in a limited mode."
        )
    return (
        f"{group} of {who} comes {figure:.1f} times slower than usual: a busy or disturbed bus, or "
        "a controller short of time."
    )
