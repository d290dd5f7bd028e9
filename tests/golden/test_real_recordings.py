"""The open recordings of real machines, brought in by the command line, against their facts.

The facts were extracted by an independent script (own parser, own transport reassembly). Every
recording goes into a book of its own; everything that the JSON documents tell is compared with
them, and what they do not tell (requests, counts of DM1) with the decoded content.

Times. Facts give the seconds of the file; documents give `at_s` from the first frame that could
be read. A message of several packets is dated by its last frame in the facts and by its first in
the documents, so DM1 by transport is compared by the time of its own announcing frame.

Damaged rows. The analyser's export has 99 rows that the facts leave out and so do we, each of
which might fairly be read in another way: 48 hold the data of two frames behind one identifier
and a length of 8 (the first eight bytes may be a frame, the other eight another whose identifier
is lost), and 51 have no identifier or no time (their data might be a frame of unknown sender).
Neither way gives a frame that can be trusted. Rows whose identifier is whole but looks damaged
(such as 0006F783, a sender heard nowhere else) are kept by both: nothing in the row says so.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.command_line import call, faults_of
from tests.golden.brought import FILES, Brought

from shearbolt.model.instants import SECOND_US
from shearbolt.wire.diagnostics import DM1

DAMAGED = FILES[-1]
FORMATS = {
    "candump console": "candump",
    "candump -L": "candump",
    "comma-separated, index/time/pgn": "table",
    "comma-separated, analyser export": "table",
}
READINGS = {
    "engine_speed_rpm": 190,
    "coolant_temp_C": 110,
    "battery_V": 168,
    "wheel_speed_kmh": 84,
    "engine_hours_h": 247,
}
LAMP_BITS = {0: "off", 1: "on", 3: None}
"""Lamp states of the facts; none of their lamps flashes (flash bits 3)."""


@pytest.fixture(params=FILES)
def one(request: pytest.FixtureRequest, brought: dict[str, Brought]) -> Brought:
    return brought[request.param]


def near(seconds: float) -> Any:
    """Equal to the microsecond."""
    return pytest.approx(seconds, abs=1e-6)


def test_what_could_be_read(one: Brought) -> None:
    facts, visit = one.facts, one.visit
    assert one.told.status == (1 if facts["unreadable_records"] else 0)
    assert one.told.document["refused"] == []
    assert visit["format"] == FORMATS[facts["format"]]
    assert visit["frames"] == facts["frames"]
    assert visit["error_frames"] == sum(facts["error_or_status_records"].values()) == 0
    assert one.content.remote_frames == facts["remote_frames"]
    assert sum(entry["count"] for entry in visit["not_read"]) == facts["unreadable_records"]
    assert len(visit["channels"]) == len(facts["channels"])


def test_times(one: Brought) -> None:
    facts, visit = one.facts, one.visit
    assert visit["start_at_s"] == near(0.0)
    assert visit["end_at_s"] == near(facts["duration_s"])
    assert one.content.first_us == round(facts["first_time_s"] * SECOND_US)
    assert one.content.latest_us == round(facts["last_time_s"] * SECOND_US)
    # These recordings have no date; their end is the date of the file.
    assert visit["start_from"] == "file_date"
    assert any("file's date" in doubt for doubt in visit["doubts"])


def test_frames_of_each_group_and_source(one: Brought) -> None:
    facts, visit = one.facts, one.visit
    by_pgn: Counter[str] = Counter()
    by_source: Counter[str] = Counter()
    for group in visit["groups"]:
        by_pgn[str(group["pgn"])] += group["count"]
        by_source[str(group["address"])] += group["count"]
    assert by_pgn == facts["frames_per_pgn"]
    assert by_source == facts["frames_per_source"]
    assert len(by_pgn) == facts["distinct_pgns"]
    assert sum(by_pgn.values()) == facts["frames_29bit"]
    assert {str(entry["id"]): entry["count"] for entry in visit["ids_11bit"]} == facts["ids_11bit"]
    proprietary = facts["proprietary"]
    assert by_pgn["61184"] == proprietary["prop_a_61184"]
    assert by_pgn["126720"] == proprietary["prop_a2_126720"]
    assert (
        sum(count for pgn, count in by_pgn.items() if 65280 <= int(pgn) <= 65535)
        == proprietary["prop_b_65280_65535"]
    )
    told = {group["pgn"]: group["decoded"] for group in visit["groups"]}
    assert not any(told.get(pgn) for pgn in (61184, 126720, *range(65280, 65536)))


def test_transport_sessions_and_how_they_ended(one: Brought) -> None:
    transport = one.facts["transport"]
    complete = transport.get("BAM complete", 0) + transport.get("RTS complete", 0)
    assert one.visit["transport"]["complete"] == complete == len(one.messages)
    broken = {entry["reason"]: entry["count"] for entry in one.visit["transport"]["broken"]}
    expected = {
        "packet without a session": transport.get("DT with no open session", 0),
        "incomplete": one.facts["transport_open_at_end"],
    }
    assert broken == {reason: count for reason, count in expected.items() if count}
    by_group = Counter(
        f"{message.carried.upper()} pgn {message.pgn} from {message.source}"
        for message in one.messages
    )
    told = (entry.rsplit(": ", 1) for entry in one.facts["transport_messages"])
    assert by_group == {group: int(count) for group, count in told}


def test_requests_and_acknowledgements(one: Brought) -> None:
    asked: Counter[str] = Counter()
    for request in one.content.requests:
        asked[str(request.pgn)] += request.count
    assert asked == one.facts["requests_59904_for"]
    assert one.facts["acknowledgements_59392"] == {}
    assert not any(group["pgn"] == 59392 for group in one.visit["groups"])


def test_claims_with_every_field_of_the_name(one: Brought) -> None:
    claims = one.facts["address_claims"]
    heard = {
        controller["address"]: controller
        for controller in one.visit["controllers"]
        if controller["name"] is not None
    }
    assert set(heard) == {claim["source"] for claim in claims}
    counts = {
        group["address"]: group["count"] for group in one.visit["groups"] if group["pgn"] == 60928
    }
    assert sum(counts.values()) == one.facts["address_claims_total"]
    names = {held.address: held.name for held in one.content.claims}
    for claim in claims:
        controller, name = heard[claim["source"]], names[claim["source"]]
        sent = bytes.fromhex(claim["name_hex_as_sent"])
        assert controller["name"] == sent[::-1].hex().upper() == name.hex
        assert controller["identity_number"] == claim["identity_number"]
        assert controller["manufacturer_code"] == claim["manufacturer_code"]
        assert controller["function"] == claim["function"]
        assert name.ecu_instance == claim["ecu_instance"]
        assert name.function_instance == claim["function_instance"]
        assert name.device_class == claim["vehicle_system"]
        assert name.device_class_instance == claim["vehicle_system_instance"]
        assert name.industry_group == claim["industry_group"]
        assert name.self_configurable == bool(claim["self_configurable"])
        (box,) = controller["boxes"]
        assert box["first_seen_at_s"] == near(claim["first"])
        assert box["last_seen_at_s"] == near(claim["last"])
        assert counts[claim["source"]] == claim["count"]
    # NAMEs of one identity number and manufacturer code are one box.
    boxes = defaultdict(set)
    for controller in heard.values():
        boxes[controller["box"]].add(
            (controller["manufacturer_code"], controller["identity_number"])
        )
    assert all(len(some) == 1 for some in boxes.values())
    assert len(boxes) == len(
        {(claim["manufacturer_code"], claim["identity_number"]) for claim in claims}
    )


def test_fault_reports_of_each_source(one: Brought) -> None:
    seen = {
        str(controller.address): controller
        for controller in one.content.controllers
        if controller.dm1_messages
    }
    assert set(seen) == set(one.facts["dm1"])
    for address, told in one.facts["dm1"].items():
        controller = seen[address]
        assert controller.dm1_messages == told["messages"]
        assert controller.dm1_by_transport == told["by"].get("BAM", 0)
        assert controller.dm1_all_clear == told["messages_without_fault"]
    assert one.facts["dm2"] == {}
    assert not any("dm2" in fault["from"] for fault in faults_of(one.book))


def test_every_fault_with_lamps_counts_and_times(one: Brought) -> None:
    faults = {
        (str(fault["address"]), fault["spn"], fault["fmi"]): fault for fault in faults_of(one.book)
    }
    announced: dict[str, dict[int, int]] = defaultdict(dict)
    for message in one.messages:
        if message.pgn == DM1:
            announced[str(message.source)][message.end_us] = message.time_us
    expected = {
        (address, told["spn"], told["fmi"]): (one.facts["dm1"][address], told)
        for address, dm1 in one.facts["dm1"].items()
        for told in dm1["faults"]
    }
    assert set(faults) == set(expected)
    first_us = one.content.first_us
    for key, (dm1, told) in expected.items():
        fault, by_transport = faults[key], announced[key[0]]

        def our_time(seconds: float, by: dict[int, int] = by_transport) -> Any:
            """The facts' time of a message, by its first frame and from the first frame."""
            end_us = round(seconds * SECOND_US)
            return near((by.get(end_us, end_us) - first_us) / SECOND_US)

        assert fault["from"] == ["dm1"]
        assert told["conversion_method_bit"] == [0]
        assert fault["spn_candidates"] == []
        assert fault["first_seen_at_s"] == our_time(told["first"])
        assert fault["last_seen_at_s"] == our_time(told["last"])
        assert fault["spells"][0]["start_at_s"] == our_time(told["first"])
        assert fault["spells"][-1]["end_at_s"] == our_time(told["last"])
        (count,) = told["oc"]
        assert [
            (entry["first"], entry["last"], entry["at_least"]) for entry in fault["counts"]
        ] == [(count, count, count == 126)]
        (lamp_bytes,) = told["lamp_bytes"]
        status = dm1["lamp_bytes"][lamp_bytes]["status"]
        assert set(dm1["lamp_bytes"][lamp_bytes]["flash"].values()) == {3}
        assert fault["lamps"] == {
            "mil": LAMP_BITS[status["mil"]],
            "red_stop": LAMP_BITS[status["red"]],
            "amber_warning": LAMP_BITS[status["amber"]],
            "protect": LAMP_BITS[status["protect"]],
        }
        # A lamp is sure for a fault only where it was listed alone.
        alone = dm1["distinct_faults"] == 1
        assert fault["lamps_sure"] == (fault["lamps"] if alone else dict.fromkeys(fault["lamps"]))


def test_ranges_of_readings_with_their_times(one: Brought) -> None:
    asked = [part for spn in READINGS.values() for part in ("--spn", spn)]
    document = call(one.book, "signals", one.visit["visit"], "--json", *asked).done()
    first_s = one.facts["first_time_s"]
    found = {(entry["spn"], str(entry["address"])): entry for entry in document["signals"]}
    expected = {
        (READINGS[name], address): told
        for name, by_address in one.facts["values"].items()
        for address, told in by_address.items()
    }
    assert set(found) == set(expected)
    for key, told in expected.items():
        signal = found[key]
        assert len(signal["samples"]) == signal["count"]
        good = [sample for sample in signal["samples"] if sample["status"] is None]
        absent = Counter(
            sample["status"] for sample in signal["samples"] if sample["status"] is not None
        )
        assert len(good) == signal["numbers"] == told["count"]
        assert absent == {
            reason.replace(" ", "_"): count for reason, count in told.get("left_out", {}).items()
        }
        if not good:
            assert signal["low"] is signal["high"] is signal["first"] is signal["last"] is None
            continue
        values = [sample["value"] for sample in good]
        # The facts are rounded to four decimals, halves to even.
        rounded = pytest.approx
        assert signal["low"] == min(values) == rounded(told["min"], abs=5.1e-5)
        assert float(np.median(values)) == rounded(told["median"], abs=5.1e-5)
        assert signal["high"] == max(values) == rounded(told["max"], abs=5.1e-5)
        assert signal["first"] == values[0] == rounded(told["first"], abs=5.1e-5)
        assert signal["last"] == values[-1] == rounded(told["last"], abs=5.1e-5)
        assert good[0]["at_s"] + first_s == near(told["first_time"])
        assert good[-1]["at_s"] + first_s == near(told["last_time"])


def test_pauses(one: Brought) -> None:
    facts = one.facts
    assert len(one.content.pauses) == facts["pauses_over_1s"]
    for start_us, end_us in one.content.pauses:
        assert end_us - start_us == round(facts["longest_pause_s"] * SECOND_US)
    told = [doubt for doubt in one.visit["doubts"] if "stands still" in doubt]
    assert len(told) == (1 if facts["pauses_over_1s"] else 0)


def test_the_visit_looks_the_same_afterwards(one: Brought) -> None:
    again = call(one.book, "visit", one.visit["visit"], "--json").done()
    assert {key: again[key] for key in one.visit} == one.visit


def test_damaged_rows_by_reason(brought: dict[str, Brought], recordings_dir: Path) -> None:
    one = brought[DAMAGED]
    (note,) = one.facts["notes"]
    assert "'data longer or shorter than its length field': 48" in note
    by_reason = {entry["reason"]: entry for entry in one.visit["not_read"]}
    lines = (recordings_dir / DAMAGED).read_text("utf-8").splitlines()
    cells = [line.split(",") for line in lines[1:]]
    lengths = sum(bool(row[3]) and str(len(row[6].split())) != row[5] for row in cells)
    nameless = sum(not row[3] and row[1] != "?" for row in cells)
    assert by_reason.pop("data that are not as long as their length field says")["count"] == lengths
    assert lengths == 48
    assert sum(entry["count"] for entry in by_reason.values()) == 51
    assert nameless <= 51
    for entry in one.visit["not_read"]:
        assert 1 < entry["line"] <= len(lines)
    assert one.visit["quality"] == "lossy"


def test_the_table_and_the_log_tell_the_same(brought: dict[str, Brought]) -> None:
    table, log = brought["tractor/start_in_gear.csv"], brought["tractor/start_in_gear.log"]
    assert table.visit["groups"] == [
        {**group, "channel": table.visit["channels"][0]} for group in log.visit["groups"]
    ]
    assert table.visit["transport"] == log.visit["transport"]
    assert table.content.faults != ()
    assert len(table.content.faults) == len(log.content.faults)
    mine, theirs = faults_of(table.book), faults_of(log.book)
    plain = ("spn", "fmi", "state", "lamps", "lamps_sure")
    assert [[f[key] for key in plain] for f in mine] == [[f[key] for key in plain] for f in theirs]
