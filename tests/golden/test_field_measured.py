"""What the reference sheet 'the field' counted in the open recordings, from the documents alone."""

from __future__ import annotations

import csv
import itertools
from collections import Counter, defaultdict
from pathlib import Path
from typing import Any

import pytest
from tests.command_line import call, faults_of
from tests.golden.brought import Brought

KEY_ON = "tractor/key_on_and_run.log"
IN_GEAR = "tractor/start_in_gear.log"
UNPLUGGED = "tractor/sensor_unplugged_analyser_export.csv"
TRUCK = "truck_drive/recording.log"


def tells(one: Brought) -> dict[str, Any]:
    return call(one.book, "tells", one.visit["machine"], "--json").done()


def samples(one: Brought, spn: int, address: int = 0) -> list[dict[str, Any]]:
    document = call(
        one.book, "signals", one.visit["visit"], "--spn", spn, "--address", address, "--json"
    ).done()
    found: list[dict[str, Any]] = document["signals"][0]["samples"]
    return found


def test_what_the_healthy_tractor_tells(brought: dict[str, Brought]) -> None:
    """231 pairs of parameter and sender are heard, 103 of them never valid.

    The sheet counts 120 by the width of a field alone. Seventeen of these have a list of states of
    their own in which the last code is a state, and the sheet's own rule (SAE J1939-71: a bit field
    whose list says otherwise follows the list) makes them valid: code 3 of the four flash fields
    of DM1 (SPN 3038 to 3041, 'do not flash') of four senders, and code 3 of SPN 897 ('low'). The
    other 103 agree, SPN 1483 of value 255 among them: that is the address of all and of nobody.
    """
    readings = [one for one in tells(brought[KEY_ON])["readings"] if one["status"] != "never_sent"]
    pairs = {(one["spn"], one["address"]): one for one in readings}
    assert len(pairs) == len(readings) == 231
    never = {pair for pair, one in pairs.items() if not one["numbers"]}
    assert len(never) == 103
    listed = {(spn, address) for spn in range(3038, 3042) for address in (3, 6, 23, 71)}
    listed.add((897, 6))
    assert len(never | listed) == 120
    assert not never & listed
    assert all(pairs[pair]["low"] == pairs[pair]["high"] == 3 for pair in listed)
    assert (1483, 0) in never
    assert {one["status"] for pair, one in pairs.items() if pair in never} == {"not_available"}


def test_what_is_absent_and_what_is_never_sent(brought: dict[str, Brought]) -> None:
    status = defaultdict(set)
    for one in tells(brought[KEY_ON])["readings"]:
        status[one["spn"]].add(one["status"])
    # Engine oil temperature, ambient, battery, charging, hydraulic filter switch, park brake,
    # clutch and brake switches.
    for spn in (175, 171, 168, 167, 1713, 70, 598, 597):
        assert status[spn] == {"not_available"}, spn
    # Hydraulic oil, coolant, oil pressure, fuel, intake and exhaust temperatures, boost,
    # barometer, load and engine speed exist.
    for spn in (1638, 110, 100, 174, 105, 102, 108, 92, 190):
        assert "alive" in status[spn], spn
    # Transmission temperature and pressure, rail pressure, filter pressure drop, soot, NOx.
    for spn in (177, 127, 157, 3251, 3719, 3226):
        assert status.get(spn, {"never_sent"}) == {"never_sent"}, spn
    # Hours came because the cluster asked.
    assert status[247] == {"on_request"}


def test_nearly_half_is_proprietary(brought: dict[str, Brought]) -> None:
    groups = brought[KEY_ON].visit["groups"]
    own = sum(
        group["count"]
        for group in groups
        if group["pgn"] in (61184, 126720) or 65280 <= group["pgn"] <= 65535
    )
    assert round(100 * own / brought[KEY_ON].visit["frames"]) == 46


def test_keyswitch_voltage_of_a_healthy_start(brought: dict[str, Brought]) -> None:
    volts = [(round(one["at_s"], 1), one["value"]) for one in samples(brought[KEY_ON], 158)]
    assert volts[:2] == [(0.4, 7.75), (1.4, 9.3)]
    values = [value for _, value in volts]
    in_order = iter(values)
    assert all(value in in_order for value in (7.75, 9.3, 11.85, 12.55, 14.15))
    speed = [one for one in samples(brought[KEY_ON], 190) if round(one["at_s"], 1) == 1.3]
    assert any(round(one["value"]) == 297 for one in speed)


def test_key_off_is_staggered(brought: dict[str, Brought]) -> None:
    one = brought[KEY_ON]
    last = {part["address"]: part["last_seen_at_s"] for part in one.visit["controllers"]}
    box = {part["address"]: part["box"] for part in one.visit["controllers"]}
    assert box[3] == box[6] == box[71]
    assert len(set(box.values())) == 3
    early = [last[address] for address in (3, 6, 71, 23)]
    assert max(early) - min(early) < 1.35
    after_run = {part["address"]: part["after_run_s"] for part in tells(one)["controllers"]}
    assert 17.0 < last[0] - max(early) < after_run[0] < 19.0
    late = [one for one in samples(brought[KEY_ON], 158) if one["at_s"] > max(early) + 1]
    assert {sample["value"] for sample in late} <= {12.5, 12.55, 12.6}


def test_manners_of_the_tractor(brought: dict[str, Brought]) -> None:
    healthy = {one["address"]: one["dm1_manner"] for one in tells(brought[KEY_ON])["controllers"]}
    assert healthy == dict.fromkeys((3, 6, 23, 71), "at_key_on") | {0: "never_heard"}
    assert faults_of(brought[KEY_ON].book) == []
    (fault,) = faults_of(brought[UNPLUGGED].book)
    assert (fault["spn"], fault["fmi"], fault["state"]) == (100, 4, "active")
    # Count 0 while active, which the standard's words do not foresee.
    assert [(one["first"], one["last"]) for one in fault["counts"]] == [(0, 0)]


def test_the_end_of_a_spell_that_nobody_announced(brought: dict[str, Brought]) -> None:
    """Listed three times, alive for 2.2 s more without it, then the key off: an end not known."""
    for where in (IN_GEAR, "tractor/start_in_gear.csv"):
        (fault,) = faults_of(brought[where].book)
        (spell,) = fault["spells"]
        assert (fault["address"], fault["spn"], fault["fmi"]) == (3, 524020, 31)
        assert (spell["start_at_s"], spell["end_at_s"]) == (0.727, 2.646)
        assert spell["ended_by"] == "unknown"
        assert spell["end_latest"] is None
        assert fault["state"] == "unknown"
        assert not fault["stale"]
        assert (spell["count_start"], spell["count_end"]) == (0, 0)
        assert "maker" in fault["text"]


def test_manners_of_the_truck(brought: dict[str, Brought]) -> None:
    one = brought[TRUCK]
    manners = {part["address"]: part["dm1_manner"] for part in one.visit["controllers"]}
    assert manners[3] == manners[49] == "always"
    assert all(manners[address] == "never_heard" for address in (5, 11, 41))
    # The engine listed faults once a second throughout: whether it would be silent without them
    # cannot be told from that.
    assert manners[0] in ("unknown", "always")
    spells = {
        (fault["address"], fault["spn"]): [
            (spell["ended_by"], spell["start_known"]) for spell in fault["spells"]
        ]
        for fault in faults_of(one.book)
    }
    for spn in (84, 191, 5357):
        assert spells[0, spn] == [("recording_end", False)]
    # Listed twice, 4.8 s apart, with all-clears before, between and after: two spells.
    for spn in (96, 829):
        assert spells[49, spn] == [("healed", True)] * 2
    status = {
        reading["spn"]: reading["status"]
        for reading in tells(one)["readings"]
        if reading["address"] == 0
    }
    for spn in (175, 172, 167, 3236):
        assert status.get(spn, "not_available") == "not_available", spn
    assert status[110] == status[190] == "alive"


def test_the_recorder_of_the_key_on_run_lost_frames(
    brought: dict[str, Brought], tmp_path: Path
) -> None:
    """Six times, about 5.1 s apart, the whole bus stands still for a quarter of a second.

    A bus of five units with a frame every 3 to 4 ms does not do that by itself. Packet 3 of a
    message, whose start and first packets were never recorded, is the first frame after one of
    these holes. So the recording is lossy, beside its one long pause.
    """
    one = brought[KEY_ON]
    assert one.visit["quality"] == "lossy"
    assert one.content.pauses == ((5_340_000, 10_539_000),)
    table = tmp_path / "signals.csv"
    call(one.book, "signals", one.visit["visit"], "--csv", table, "--json").done()
    with table.open(encoding="utf-8", newline="") as rows:
        heard = sorted({float(row["at_s"]) for row in csv.DictReader(rows)})
    holes = [(a, b) for a, b in itertools.pairwise(heard) if 0.2 < b - a < 1.0 and a > 1.0]
    assert [round(a, 1) for a, _ in holes] == [5.0, 15.4, 20.5, 25.6, 30.7, 35.8]
    assert one.visit["transport"]["broken"] == [{"reason": "packet without a session", "count": 1}]
    for other in (IN_GEAR, "tractor/start_in_gear.csv", TRUCK):
        assert brought[other].visit["quality"] == "complete"


def test_who_asked_for_what(brought: dict[str, Brought]) -> None:
    asked: Counter[tuple[int, int]] = Counter()
    for request in brought[KEY_ON].content.requests:
        asked[request.asker, request.pgn] += request.count
    assert sum(count for (_, pgn), count in asked.items() if pgn == 65253) == 4
    assert not any(pgn == 65260 for _, pgn in asked)
    assert brought[KEY_ON].visit["vin"] is None
    assert brought[KEY_ON].visit["engine_hours_start"] == pytest.approx(156.35)
    assert brought[KEY_ON].visit["engine_hours_from"] == "bus"
