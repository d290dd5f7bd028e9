"""How controllers behave on the bus: stops, restarts, bad buses, answers, maker's own groups."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from tests.played_outings import MACHINES, outing_of

from shearbolt.model.frames import ERROR, Frames
from shearbolt.model.instants import from_iso
from shearbolt.proving.bus import Played, play, stopped
from shearbolt.proving.controllers import HOURS, VEHICLE_IDENTIFICATION
from shearbolt.proving.diagnostic_packing import DM13
from shearbolt.proving.faults import AMBER, StandingLamp
from shearbolt.proving.manners import MANNERS, manner_of
from shearbolt.proving.memory import Kept, Store
from shearbolt.proving.outing import Ask, Hush
from shearbolt.proving.own_groups import layout_of_own
from shearbolt.proving.packing import ACKNOWLEDGEMENT, ADDRESS_CLAIM, DM1, DM2
from shearbolt.proving.reports import Held, plan_reports
from shearbolt.proving.trace import STEP_S, Day

WARM = Day(ambient_c=20.0, coolant_c=84.0, oil_c=88.0, hydraulic_c=50.0, transmission_c=66.0)
TOOL = 249


def from_sender(played: Played, address: int, pgn: int | None = None) -> np.ndarray:
    """Instants (s) of one sender's frames, of one group or all."""
    frames = played.frames
    rows = ((frames.ident & 0xFF) == address) & (frames.flags & ERROR == 0)
    if pgn is not None:
        rows &= (frames.ident >> 8 & 0x3FFFF) == pgn
    zero = from_iso(played.cycle.outing.started)
    return np.asarray((frames.time_us[rows] - zero) / 1e6)


def data_of(frames: Frames, ident: int) -> list[bytes]:
    return [frames.data(int(row)) for row in np.flatnonzero(frames.ident == ident)]


def test_a_stop_silences_who_heeds_it_until_it_lapses() -> None:
    # SAE J1939-73 DM13: a stop lapses after 6 s, a hold renews it
    assert stopped([(10.0, True, False)]) == [(10.0, 16.0)]
    assert stopped([(10.0, True, False), (14.0, True, True)]) == [(10.0, 20.0)]
    assert stopped([(10.0, True, False), (12.0, False, False)]) == [(10.0, 12.0)]
    assert stopped([(10.0, True, True)]) == [], "a hold alone stops nothing"
    outing = replace(
        outing_of("truck", ("idle", 30), day=WARM),
        hushes=(Hush(10.0, TOOL), Hush(15.0, TOOL, hold=True)),
        standing=(StandingLamp("engine", AMBER, (0.0, 99.0)),),
    )
    played = play(outing, 2)
    heard = from_sender(played, 0)
    assert not ((heard > 10.0) & (heard < 20.9)).any()
    assert ((heard > 21.05) & (heard < 22.0)).any()
    reports = from_sender(played, 0, DM1)
    assert ((reports >= 20.99) & (reports < 21.5)).any(), "at once when the stop lapses"
    assert len(from_sender(played, TOOL, DM13 | 0xFF)) == 2
    deaf = play(
        replace(outing_of("big_tractor", ("idle", 30), day=WARM), hushes=(Hush(10.0, TOOL),)), 2
    )
    still = from_sender(deaf, 6)
    assert ((still > 10.5) & (still < 15.5)).any(), "the levers' box does not heed it"


def test_a_controller_that_lost_power_is_silent_and_claims_afresh() -> None:
    outing = outing_of(
        "new_tractor", ("mow", 120), day=WARM, causes=("wiring.feed_loose.transmission",)
    )
    played = play(outing, 5)
    gearbox = MACHINES["new_tractor"].controller("transmission")
    reboot_s = manner_of("new_tractor", gearbox).reboot_s
    assert 2.0 <= reboot_s <= 4.0
    claims = from_sender(played, 3, ADDRESS_CLAIM | 0xFF)
    lives = played.cycle.lives(gearbox)
    assert len(claims) == len(lives) > 3
    for (_, end, _), (begin, _, boots) in pairwise(lives):
        assert boots
        assert begin - end >= reboot_s
    others = from_sender(played, 0, ADDRESS_CLAIM | 0xFF)
    assert len(others) == 1


def test_one_box_loses_all_its_names_together() -> None:
    outing = outing_of("big_tractor", ("mow", 90), day=WARM, causes=("wiring.feed_loose.cab",))
    played = play(outing, 5)
    lost = [
        [(round(begin, 1), round(end, 1)) for begin, end, _ in played.cycle.lives(one)][1:4]
        for one in MACHINES["big_tractor"].controllers
        if one.key in ("cab", "levers", "transmission")
    ]
    starts = [{begin for begin, _ in few} for few in lost]
    assert all(starts)
    # Their reboots take their own time.
    ends = [{end for _, end in few} for few in lost]
    assert ends[0] & ends[1] or ends[0] & ends[2]
    engine = MACHINES["big_tractor"].controller("engine")
    assert len(played.cycle.lives(engine)) == 1


def test_a_chafed_bus_loses_frames_and_shows_errors() -> None:
    bad = play(outing_of("new_tractor", ("mow", 60), day=WARM, causes=("network.pair_chafed",)), 5)
    good = play(outing_of("new_tractor", ("mow", 60), day=WARM), 5)
    errors = bad.frames.flags & ERROR != 0
    assert errors.sum() > 50
    assert not (good.frames.flags & ERROR).any()
    assert (~errors).sum() < 0.99 * len(good.frames)
    assert np.all(np.diff(bad.frames.time_us) >= 0)
    # A DM1 by transport that lost a packet counts as not sent.
    for key, reports in bad.reports.items():
        assert len(reports) <= len(bad.cycle.place(key)[1].groups) * 200


def test_a_babbling_unit_floods_the_bus() -> None:
    bad = play(outing_of("new_tractor", ("mow", 60), day=WARM, causes=("network.babble.cab",)), 5)
    flood = bad.frames.ident == 49
    assert flood.sum() > 1000
    assert not (bad.frames.ident[~flood] < 0x01000000).any()


def test_a_mute_unit_has_power_and_says_nothing() -> None:
    bad = play(
        outing_of("new_tractor", ("mow", 120), day=WARM, causes=("network.mute.transmission",)), 5
    )
    gaps = np.diff(from_sender(bad, 3))
    assert gaps.max() > 3.0
    gearbox = MACHINES["new_tractor"].controller("transmission")
    assert len(bad.cycle.lives(gearbox)) == 1, "it never lost its power"
    # Its claim was among what it did not say, and the truth knows that.
    told = len(from_sender(bad, 3, ADDRESS_CLAIM | 0xFF)) > 0
    assert ("transmission" in bad.claimed) == told


def acknowledged(played: Played, address: int) -> list[bytes]:
    return data_of(played.frames, 0x18E8FF00 | address)


def test_requests_are_answered_refused_or_left_alone() -> None:
    outing = replace(
        outing_of("new_tractor", ("idle", 30), day=WARM),
        asks=(
            Ask(1.6, TOOL, DM2, 61),  # treatment, still busy booting
            Ask(12.0, TOOL, DM2, 61),
            Ask(13.0, TOOL, 65_111, 0),  # nobody has that
            Ask(14.0, TOOL, 65_111),  # to all: never refused
            Ask(15.0, TOOL, DM2, 240),  # other bus: silence
            Ask(16.0, TOOL, HOURS, 0),
            Ask(17.0, TOOL, VEHICLE_IDENTIFICATION),  # to all: by BAM
        ),
    )
    played = play(outing, 2)
    assert acknowledged(played, 61) == [bytes.fromhex("03ffffff f9cbfe00")]
    assert acknowledged(played, 0) == [bytes.fromhex("01ffffff f957fe00")]
    assert data_of(played.frames, 0x18FECB00 | 61) == [bytes.fromhex("00ff00000000ffff")]
    heads = data_of(played.frames, 0x1CECFF00)
    assert bytes.fromhex("20120003ffecfe00") in heads
    assert ("engine", HOURS) in played.answered
    assert {one[4] for one in acknowledged(played, 0)} == {TOOL}


def test_identification_is_not_there_before_the_box_is() -> None:
    outing = replace(outing_of("big_tractor", ("idle", 5)), asks=(Ask(0.01, 23, ADDRESS_CLAIM),))
    assert ACKNOWLEDGEMENT not in {
        int(one) >> 8 & 0x3FF00 for one in play(outing, 1).frames.ident.tolist()
    }


def test_broadcast_reports_never_overlap_another_broadcast() -> None:
    held = [Held(0, 1, 0.0, None, AMBER), Held(1, 1, 0.0, None, AMBER)]
    busy = [(1.9, 2.35), (4.0, 4.1)]
    reports = plan_reports("always", (0.0, 6.0), held, (), first_after_s=0.9, bam_s=0.05, busy=busy)
    for one in reports:
        assert all(one.at_s + 0.15 <= first or one.at_s >= last for first, last in busy)
    assert len(reports) >= 5


def test_memories_are_told_only_by_who_remembers() -> None:
    store = Store((Kept(97, 31, 1, "real_condition", "old", stale=True),))
    outing = replace(
        outing_of("big_tractor", ("idle", 20), day=WARM),
        stores={("big_tractor", "engine"): store},
        asks=(Ask(8.0, TOOL, DM2, 0), Ask(9.0, TOOL, DM2, 23)),
    )
    played = play(outing, 2)
    assert ("engine", 97, 31, "dm2") in played.told
    assert acknowledged(played, 23) == [], "the cluster keeps silent about what it does not know"
    assert played.stores()["big_tractor", "engine"].code(97, 31) is not None


@pytest.mark.parametrize(
    ("machine", "controller", "quantity"),
    [
        ("big_tractor", "levers", "seat"),
        ("big_tractor", "cab", "hitch"),
        ("telehandler", "hydraulics", "boom"),
        ("new_tractor", "transmission", "park"),
        ("big_tractor", "levers", "steering"),
    ],
)
def test_makers_groups_hold_what_can_be_learnt(
    machine: str, controller: str, quantity: str
) -> None:
    one = MACHINES[machine].controller(controller)
    if not one.proprietary:
        pytest.fail("it has no group of its own")
    outing = outing_of(
        machine, ("idle", 5), ("mow" if machine != "telehandler" else "load", 120), ("queue", 90),
        day=WARM, causes=("operator.leaves_seat",),
    )  # fmt: skip
    played = play(outing, 3)
    for group in one.proprietary:
        for signal in layout_of_own(one, group):
            if signal.quantity != quantity:
                continue
            specific = group.pgn >> 8 & 0xFF < 240
            ident = 6 << 26 | group.pgn << 8 | one.address
            if specific:
                ident |= group.destination << 8
            rows = played.frames.ident == ident
            raw = played.frames.word[rows] >> np.uint64(signal.first_bit)
            values = (raw & np.uint64((1 << signal.bits) - 1)).astype(np.float64)
            values = values * signal.resolution + signal.offset
            trace = played.trace
            truly = {
                "seat": trace.seat.astype(np.float64), "hitch": trace.hitch_pct,
                "boom": trace.boom_pct, "park": trace.park.astype(np.float64),
                "steering": trace.steering_pct,
            }[quantity]  # fmt: skip
            step = (played.frames.time_us[rows] - from_iso(outing.started)) // round(STEP_S * 1e6)
            there = truly[np.minimum(step, len(truly) - 1)]
            assert np.corrcoef(values, there)[0, 1] > 0.97
            assert there.std() > 0.0
            return
    pytest.fail(f"no group of the {controller} carries {quantity}")


def test_layouts_of_own_groups_do_not_overlap() -> None:
    for machine in MACHINES.values():
        for controller in machine.controllers:
            for group in controller.proprietary:
                taken = 0
                for signal in layout_of_own(controller, group):
                    bits = ((1 << signal.bits) - 1) << signal.first_bit
                    assert not taken & bits, (machine.key, controller.key, signal)
                    assert signal.first_bit + signal.bits <= 64
                    taken |= bits


def test_manners_are_of_controllers_that_are_there() -> None:
    there = {(machine.key, one.key) for machine in MACHINES.values() for one in machine.controllers}
    assert set(MANNERS) <= there
    assert all(2.0 <= one.reboot_s <= 4.0 for one in MANNERS.values())
