"""Adapters: opened by their own words, listen-only where they can be, and never sending."""

from __future__ import annotations

import ast
import errno
from pathlib import Path
from typing import Any

import can
import pytest
from tests.scripted_bus import ScriptedBus, frame

import shearbolt.live
from shearbolt.errors import AdapterAbsent, NeverSends, UsageError
from shearbolt.live import AdapterAsked, Link, ReceiveOnly, adapters, find_adapters, look_at
from shearbolt.live.link import ask_link, read_link

LIVE = Path(shearbolt.live.__file__).parent


class WithState(ScriptedBus):
    def __init__(self, channel: str, state: Any = None, bitrate: int = 500_000, **more: Any):
        """Open it.

        :param can.bus.BusState state: how it takes part
        """
        super().__init__(state=state, bitrate=bitrate, channel=channel, **more)


class WithFlag(ScriptedBus):
    def __init__(self, channel: str, listen_only: bool = False, **more: Any):
        super().__init__(listen_only=listen_only, channel=channel, **more)


class Documented(ScriptedBus):
    def __init__(self, channel: str, **more: Any):
        """Open it.

        :param bool driver_mode:
            True: takes part.
        """
        super().__init__(channel=channel, **more)


class Loud(ScriptedBus):
    def __init__(self, channel: str, bitrate: int = 500_000, **more: Any):
        super().__init__(bitrate=bitrate, channel=channel, **more)


KINDS = {"state": WithState, "flag": WithFlag, "documented": Documented, "loud": Loud}


@pytest.fixture(autouse=True)
def invented(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the bus library know some invented interfaces."""
    real = can.interface._get_class_for_interface

    def kind(interface: str) -> Any:
        return KINDS.get(interface) or real(interface)

    monkeypatch.setattr("can.interface._get_class_for_interface", kind)


def opened(asked: AdapterAsked) -> tuple[adapters.Adapter, ScriptedBus]:
    (one,) = look_at([asked])
    only = one.open(one.bitrate)
    bus = only._bus
    assert isinstance(bus, ScriptedBus)
    return one, bus


@pytest.mark.parametrize(
    ("interface", "option", "value"),
    [
        ("state", "state", can.BusState.PASSIVE),
        ("flag", "listen_only", True),
        ("documented", "driver_mode", False),
    ],
)
def test_what_can_listen_only_is_put_into_it(interface: str, option: str, value: object) -> None:
    one, bus = opened(AdapterAsked(interface, "7", 250_000))
    assert one.listen_only == "on"
    assert bus.options[option] == value
    assert bus.options["channel"] == 7
    bus.shutdown()


def test_the_rate_is_handed_on_where_it_is_taken() -> None:
    _, bus = opened(AdapterAsked("state", "a", 250_000))
    assert bus.options["bitrate"] == 250_000
    bus.shutdown()
    (other,) = look_at([AdapterAsked("flag", "a", 250_000)])
    assert not other.finds_rate
    (finding,) = look_at([AdapterAsked("state", "a")])
    assert finding.finds_rate


def test_no_rate_is_tried_on_an_adapter_that_does_not_keep_quiet() -> None:
    with pytest.raises(UsageError, match="--bitrate"):
        look_at([AdapterAsked("loud", "a")])
    (one,) = look_at([AdapterAsked("loud", "a", 250_000)])
    assert one.listen_only == "not_offered"
    with pytest.raises(UsageError, match="disturb"):
        look_at([AdapterAsked("state", "a", None, (("state", "ACTIVE"),))])


def test_a_persons_own_word_on_the_mode_stands() -> None:
    one, bus = opened(AdapterAsked("flag", "a", None, (("listen_only", False),)))
    assert one.listen_only == "off"
    assert bus.options["listen_only"] is False
    bus.shutdown()


def test_channels_get_short_names_of_their_own() -> None:
    named = look_at(
        [AdapterAsked("flag", one) for one in ("/dev/ttyACM0", "ttyACM0", "two words", "")]
    )
    assert [one.name for one in named] == ["ttyACM0", "ttyACM0.2", "two_words", "can"]


def test_whoever_sends_is_told_off_and_nothing_goes_out() -> None:
    bus = ScriptedBus([frame(1)])
    only = ReceiveOnly(bus)
    assert not hasattr(only, "send")
    with pytest.raises(NeverSends):
        bus.send(frame(2))
    with pytest.raises(NeverSends):
        bus.send_periodic(frame(2), 0.1)
    message = only.receive(0.0)
    assert message is not None
    assert message.data[0] == 1
    assert bus.sent == []
    only.close()
    assert bus.closed


def test_nothing_in_live_calls_anything_that_sends() -> None:
    """The import contract keeps `act` out; this keeps the calls out."""
    sending = {"send", "send_periodic", "sendto", "sendall", "flush_tx_buffer"}
    found = [
        (path.name, node.lineno)
        for path in LIVE.glob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr in sending
    ]
    assert found == []
    assert sum(1 for _ in LIVE.glob("*.py")) > 8


def test_an_interface_that_reads_its_own_way_is_read_by_it() -> None:
    class OwnWay(ScriptedBus):
        def recv(self, timeout: float | None = None) -> can.Message | None:
            return frame(9)

    only = ReceiveOnly(OwnWay())
    message = only.receive(0.0)
    assert message is not None
    assert message.data[0] == 9
    only.close()


def test_an_unknown_interface_and_a_missing_driver_are_told_in_a_sentence(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with pytest.raises(UsageError, match="'nonsense' is no interface"):
        look_at([AdapterAsked("nonsense", "a")])

    def missing(interface: str) -> Any:
        raise can.exceptions.CanInterfaceNotImplementedError("no module named\nsuch")

    monkeypatch.setattr("can.interface._get_class_for_interface", missing)
    with pytest.raises(AdapterAbsent, match=r"not installed \(no module named such\)"):
        look_at([AdapterAsked("flag", "a")])


@pytest.mark.parametrize(
    ("trouble", "words"),
    [
        (OSError(errno.ENODEV, "No such device"), "ip link set can7 up"),
        (OSError(errno.ENETDOWN, "Network is down"), "switched off"),
        (OSError(errno.EAFNOSUPPORT, "not supported"), "no CAN sockets"),
        (can.CanInitializationError("held\nby another"), "held by another"),
        (RuntimeError(""), "RuntimeError"),
        (can.CanInterfaceNotImplementedError("The serial module is not installed"), "package"),
    ],
)
def test_an_adapter_that_is_not_there_is_told_in_a_sentence(
    trouble: Exception, words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object, **__: object) -> None:
        raise trouble

    monkeypatch.setattr(can, "Bus", fails)
    (one,) = look_at([AdapterAsked("socketcan", "can7")], link_of=lambda _name: None)
    with pytest.raises(AdapterAbsent, match=words) as told:
        one.open(None)
    assert told.value.sentence.endswith(".")
    assert "\n" not in told.value.sentence


def test_adapters_without_a_real_bus_are_never_found_by_themselves() -> None:
    told: list[dict[str, Any]] = [
        {"interface": "virtual", "channel": "x"},
        {"interface": "udp_multicast", "channel": "y"},
        {"interface": "flag", "channel": 3, "serial": "17", "odd": object()},
        {"interface": "flag", "channel": None},
    ]
    assert find_adapters(lambda: told) == (AdapterAsked("flag", "3", None, (("serial", "17"),)),)
    with pytest.raises(AdapterAbsent, match="plug it in"):
        find_adapters(lambda: told[:2])


def test_asking_the_library_for_an_unknown_interface_says_so() -> None:
    with pytest.raises(UsageError, match="no interface"):
        adapters.detect("nonsense")
    assert adapters.detect("flag") == []


LINK = """[{"ifname":"can0","flags":["NOARP","UP","LOWER_UP","ECHO"],"linkinfo":{"info_kind":"can",
"info_data":{"ctrlmode":["LISTEN-ONLY"],"state":"ERROR-ACTIVE","bittiming":{"bitrate":250000}}}}]"""


def test_what_the_system_says_of_an_interface_is_read() -> None:
    assert read_link(LINK) == Link(True, 250_000, True, "ERROR-ACTIVE")
    loud = LINK.replace('["LISTEN-ONLY"]', "[]")
    assert read_link(loud) == Link(True, 250_000, False, "ERROR-ACTIVE")
    virtual = '[{"flags":["NOARP"],"linkinfo":{"info_kind":"vcan"}}]'
    assert read_link(virtual) == Link(False, None, None, None)
    plain = '[{"flags":[],"linkinfo":{"info_kind":"can","info_data":{}}}]'
    assert read_link(plain) == Link(False, None, False, None)
    for text in ("", "[]", "{}", "[3]", "not json"):
        assert read_link(text) is None


def test_the_system_is_asked_for_the_interface_meant() -> None:
    asked: list[list[str]] = []

    def run(command: list[str]) -> str:
        asked.append(command)
        return LINK

    link = ask_link("can0", run)
    assert asked == [["ip", "-details", "-json", "link", "show", "can0"]]
    for mode, expected in ((True, "on"), (False, "off"), (None, "not_needed")):
        told = None if link is None else Link(True, link.bitrate, mode, link.state)
        (one,) = look_at([AdapterAsked("socketcan", "can0")], link_of=lambda _, told=told: told)  # type: ignore[misc]
        assert one.listen_only == expected
        assert one.bitrate == 250_000
        assert not one.finds_rate

    def missing(command: list[str]) -> str:
        raise FileNotFoundError

    assert ask_link("can0", missing) is None
