"""`listen` on the bus library's UDP multicast interface, over loopback: a whole visit of a machine.

What travels there really leaves the process: sockets and packets of the system, unlike the
in-process bus of the other tests. No loss-free figures: packets may be dropped there.
"""

from __future__ import annotations

import os
import time
from pathlib import Path

import can
import pytest
from tests.command_line import call
from tests.played_outings import outing_of

from shearbolt.app.documents import PLAIN_WORDING, ListenAsked, LiveView, no_progress
from shearbolt.app.use_cases import listen
from shearbolt.proving.live_bus import LiveBus, open_buses
from shearbolt.proving.live_machine import LiveMachine

GROUP = f"239.74.{os.getpid() % 250 + 1}.{os.getpid() // 250 % 250 + 1}"
"""Administratively scoped (RFC 2365): its packets do not leave the site."""
NO_MULTICAST = "this system has no UDP multicast"
MOST_S = 60.0
ENOUGH_FRAMES = 300


@pytest.fixture
def group() -> str:
    """A multicast group on which one bus hears another; skips where the system has none."""
    probe = can.Message(arbitration_id=0x18FFFF00, data=b"probe", is_extended_id=True)
    try:
        with (
            can.Bus(GROUP, interface="udp_multicast") as one,
            can.Bus(GROUP, interface="udp_multicast") as other,
        ):
            one.send(probe)
            heard = other.recv(5.0)
    except (OSError, can.CanError):
        heard = None
    if heard is None:
        pytest.skip(NO_MULTICAST)
    return GROUP


def test_a_machine_is_listened_to_over_multicast(tmp_path: Path, group: str) -> None:
    outing = outing_of("utility_tractor", ("idle", 600), causes=("wiring.open.110",))
    views: list[LiveView] = []

    def show(view: LiveView) -> None:
        views.append(view)

    def enough() -> bool:
        last = views[-1] if views else None
        listed = last is not None and any((one["spn"], one["fmi"]) == (110, 3)
                                          for one in last["faults"])  # fmt: skip
        return listed and last is not None and last["frames"] >= ENOUGH_FRAMES

    buses = open_buses("udp_multicast", {"can0": group})
    try:
        with LiveBus(LiveMachine(outing, 3), buses, time.monotonic, from_s=20.0) as live:
            told = listen(
                tmp_path / "book",
                ListenAsked("udp_multicast", (group,), seconds=MOST_S),
                show=show,
                stop=enough,
                progress=no_progress,
                wording=PLAIN_WORDING,
            )
            sent = live.sent
    finally:
        for bus in buses.values():
            bus.shutdown()
    assert told["stopped_by"] == "asked"
    assert told["refused"] == []
    (visit,) = told["visits"]
    assert visit["kind"] == "live"
    assert ENOUGH_FRAMES <= visit["frames"] <= sent
    listed = call(tmp_path / "book", "faults", "--visit", visit["visit"], "--json").done()
    codes = {(one["spn"], one["fmi"]) for machine in listed["machines"]
             for one in machine["faults"]}  # fmt: skip
    assert (110, 3) in codes
