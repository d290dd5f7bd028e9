"""Adapters: opening any interface of the bus library by its own words, to listen and nothing else.

Nothing here knows single products: which options an interface takes is read from the library. An
interface that has a listen-only mode is put in it; where it has none, that is told, and no bit
rate is tried on it, because an adapter that acknowledges at a wrong rate destroys frames.
"""

from __future__ import annotations

import contextlib
import inspect
import logging
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

from shearbolt.errors import AdapterAbsent, NeverSends, UsageError
from shearbolt.live.link import Link, ask_link, set_up_words

if TYPE_CHECKING:
    from can import BusABC, Message

ListenOnly = Literal["on", "off", "not_offered", "not_needed"]
"""Whether the adapter keeps quiet on the wire: 'off' can be set by the system, 'not_needed' is no
real bus."""
Option = str | int | float | bool

SYSTEM_INTERFACE = "socketcan"
"""Rate and mode are settings of the system there."""
NO_REAL_BUS = frozenset({"virtual", "udp_multicast"})
"""Interfaces without a wire: there is nothing to acknowledge and no rate."""
_QUIET_OPTIONS = ("listen_only", "state", "monitor", "operation_mode", "driver_mode")
"""Options by which the library's interfaces take a listen-only mode."""
_WHAT_TO_DO = "check that it is plugged in and that no other program holds it"


@dataclass(frozen=True, slots=True)
class AdapterAsked:
    """Which adapter, in the bus library's own words."""

    interface: str
    channel: str
    bitrate: int | None = None
    """Bit/s as a person gave it; None: found by listening, or left to the system."""
    options: tuple[tuple[str, Option], ...] = ()
    """Further options of the interface, handed on as they are."""


@dataclass(frozen=True, slots=True)
class Manners:
    """What an interface of the bus library takes."""

    takes_bitrate: bool
    quiet: tuple[tuple[str, Any], ...]
    """Option that makes it listen only; empty: it has none."""


@dataclass(frozen=True, slots=True)
class Adapter:
    """An adapter that was looked at and can be opened again and again."""

    asked: AdapterAsked
    name: str
    """Short name of its channel, as it stands in the recording."""
    manners: Manners
    listen_only: ListenOnly
    link: Link | None = None
    """What the system says of it, where it is the system's."""

    @property
    def finds_rate(self) -> bool:
        """Tell whether its rate is to be found by listening."""
        return (
            self.asked.bitrate is None and self.manners.takes_bitrate and self.listen_only == "on"
        )

    @property
    def bitrate(self) -> int | None:
        """Rate that is known before anything was heard."""
        return self.asked.bitrate or (self.link.bitrate if self.link is not None else None)

    def open(self, bitrate: int | None) -> ReceiveOnly:
        """Open it to listen, at a rate where it takes one.

        Raises AdapterAbsent with one sentence.
        """
        options: dict[str, Any] = dict(self.manners.quiet) | dict(self.asked.options)
        if bitrate is not None and self.manners.takes_bitrate:
            options["bitrate"] = bitrate
        _quiet_log()
        with _told(self.asked):
            return ReceiveOnly(_open(self.asked, options))


class ReceiveOnly:
    """A bus that can be listened to and closed; whoever tries to send is told off.

    The bus itself is disarmed too, so that nothing of the library sends behind our back.
    """

    def __init__(self, bus: BusABC) -> None:
        self._bus = bus
        for name in ("send", "send_periodic"):
            setattr(bus, name, _refuse)
        # The library's recv() reckons by the wall clock, and would wait for an hour when that is
        # set back by one.
        from can import BusABC

        kind = type(bus)
        plain = kind.recv is BusABC.recv and kind._recv_internal is not BusABC._recv_internal
        self.receive: Callable[[float], Message | None] = self._plain if plain else bus.recv
        """Wait at most so many seconds for a frame; None: none came. Raises what the library and
        the driver raise when the adapter is gone."""

    def _plain(self, wait_s: float) -> Message | None:
        return self._bus._recv_internal(wait_s)[0]

    def close(self) -> None:
        """Let go of the adapter, whatever state it is in."""
        with contextlib.suppress(Exception):
            self._bus.shutdown()


def _refuse(*_: object, **__: object) -> None:
    raise NeverSends("Something tried to send on a bus that is only listened to.")


def _open(asked: AdapterAsked, options: Mapping[str, Any]) -> BusABC:
    import can

    return can.Bus(
        channel=_channel(asked), interface=asked.interface, ignore_config=True, **options
    )


def _channel(asked: AdapterAsked) -> str | int:
    """Return the channel as the interface wants it: plain numbers as numbers."""
    return int(asked.channel) if asked.channel.isdecimal() else asked.channel


def _bus_class(interface: str) -> type[BusABC]:
    from can.interface import _get_class_for_interface

    return _get_class_for_interface(interface)


def manners_of(interface: str) -> Manners:
    """Read from the bus library what an interface takes.

    Raises UsageError for an interface that the library does not know, AdapterAbsent for one whose
    driver is not installed.
    """
    from can import BusState
    from can.exceptions import CanInterfaceNotImplementedError

    _quiet_log()
    try:
        kind = _bus_class(interface)
    except CanInterfaceNotImplementedError as trouble:
        raise AdapterAbsent(
            f"The interface '{interface}' needs a driver or package that is not installed "
            f"({_one_line(trouble)})."
        ) from trouble
    except NotImplementedError as trouble:
        raise UsageError(
            f"'{interface}' is no interface that the bus library knows; the interfaces and "
            "their words are those of python-can, such as socketcan or slcan."
        ) from trouble
    taken = set(inspect.signature(kind.__init__).parameters)
    # Some interfaces take their options unnamed and tell of them only in their documentation.
    told = inspect.getdoc(kind.__init__) or ""
    taken |= set(re.findall(r":param[^:\n]*?(\w+)[ \t]*(?::|$)", told, re.MULTILINE))
    values = {
        "listen_only": True,
        "state": BusState.PASSIVE,
        "monitor": True,
        "operation_mode": "silent",
        "driver_mode": False,
    }
    quiet = next(((name, values[name]) for name in _QUIET_OPTIONS if name in taken), None)
    return Manners("bitrate" in taken, () if quiet is None else (quiet,))


def look_at(
    asked: Sequence[AdapterAsked], link_of: Callable[[str], Link | None] = ask_link
) -> tuple[Adapter, ...]:
    """Learn what can be known of adapters before they are opened.

    Raises UsageError, AdapterAbsent.
    """
    found: list[Adapter] = []
    for one in asked:
        manners = manners_of(one.interface)
        link = link_of(one.channel) if one.interface == SYSTEM_INTERFACE else None
        if one.interface in NO_REAL_BUS:
            listen_only: ListenOnly = "not_needed"
        elif one.interface == SYSTEM_INTERFACE:
            # A virtual interface of the system has no mode and needs none.
            on = link.listen_only if link is not None else False
            listen_only = "not_needed" if on is None else ("on" if on else "off")
        else:
            listen_only = "on" if manners.quiet else "not_offered"
        for option in one.options:
            if manners.quiet and option[0] == manners.quiet[0][0]:
                # The person's own word stands.
                listen_only = "on" if option == manners.quiet[0] else "off"
                manners = replace(manners, quiet=())
        if manners.takes_bitrate and one.bitrate is None and listen_only in ("off", "not_offered"):
            raise UsageError(
                f"The adapter '{one.interface} {one.channel}' would not be in a listen-only mode, "
                "and at a wrong rate it would disturb the machine: say the rate with --bitrate "
                "(250000, or 500000 on green plugs), and plug it in with the key off."
            )
        name = _short(one.channel, {other.name for other in found})
        found.append(Adapter(one, name, manners, listen_only, link))
    return tuple(found)


def _short(channel: str, taken: set[str]) -> str:
    """Name a channel in one short word that candump text can hold."""
    stem = re.sub(r"[^!-~]+", "_", channel.rsplit("/", 1)[-1])[-24:] or "can"
    name, number = stem, 2
    while name in taken:
        name, number = f"{stem}.{number}", number + 1
    return name


def find_adapters(
    ask: Callable[[], Sequence[Mapping[str, Any]]] | None = None,
) -> tuple[AdapterAsked, ...]:
    """Find the adapters that the system can tell of; those without a real bus are left out.

    Raises AdapterAbsent when there is none.
    """
    _quiet_log()
    told = (detect if ask is None else ask)()
    found = [
        AdapterAsked(
            str(one["interface"]),
            str(one["channel"]),
            None,
            tuple(
                (str(name), value)
                for name, value in one.items()
                if name not in ("interface", "channel") and isinstance(value, str | int | float)
            ),
        )
        for one in told
        if one.get("interface") not in NO_REAL_BUS and one.get("channel") is not None
    ]
    if not found:
        raise AdapterAbsent(
            "No CAN adapter was found by itself: plug it in, or name it with --interface and "
            "--channel (adapters on a serial line cannot be found by themselves)."
        )
    return tuple(found)


def detect(interface: str | None = None) -> Sequence[Mapping[str, Any]]:
    """Ask the bus library which adapters are plugged in: of one interface, or of all."""
    from can.interface import detect_available_configs

    try:
        return detect_available_configs(interface)
    except NotImplementedError:
        manners_of(str(interface))  # says in one sentence what is wrong with it
        return ()


@contextlib.contextmanager
def _told(asked: AdapterAsked) -> Iterator[None]:
    """Turn whatever an interface raises while it opens into one sentence."""
    try:
        yield
    except AdapterAbsent:
        raise
    except Exception as trouble:
        raise AdapterAbsent(_absent_words(asked, trouble)) from trouble


def _absent_words(asked: AdapterAsked, trouble: Exception) -> str:
    what = f"The adapter '{asked.interface} {asked.channel}' cannot be opened"
    if asked.interface == SYSTEM_INTERFACE and isinstance(trouble, OSError):
        import errno

        if trouble.errno == errno.EAFNOSUPPORT:
            return f"{what}: this computer has no CAN sockets."
        if trouble.errno == errno.ENODEV:
            return (
                f"{what}: the system knows no such CAN interface; {_WHAT_TO_DO}, and bring it up "
                f"with {set_up_words(asked.channel, asked.bitrate or 250_000)}."
            )
        if trouble.errno == errno.ENETDOWN:
            return (
                f"{what}: it is switched off; bring it up with "
                f"{set_up_words(asked.channel, asked.bitrate or 250_000)}."
            )
    if isinstance(trouble, ImportError) or "not installed" in str(trouble).lower():
        return f"{what}: a package that it needs is missing ({_one_line(trouble)})."
    return f"{what} ({_one_line(trouble)}); {_WHAT_TO_DO}."


def _one_line(trouble: BaseException) -> str:
    words = " ".join(str(trouble).split()).rstrip(".") or type(trouble).__name__
    return words if len(words) <= 160 else words[:157] + "..."


def _quiet_log() -> None:
    """Keep the library's own log off the person's screen: what matters is told by us.

    Its interfaces log under names of all kinds, so the root is what has to be given a handler.
    """
    root = logging.getLogger()
    if not root.handlers:
        root.addHandler(logging.NullHandler())
