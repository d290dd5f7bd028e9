"""The demo season beyond single recordings: repairs, the wagon's power, the truth as data."""

from __future__ import annotations

import json
from pathlib import Path

from tests.command_line import call
from tests.golden.lived_season import Season, quietly

from shearbolt.app.demo import TRUTH, write_season


def test_a_wagon_that_loses_its_power_claims_afresh(season: Season) -> None:
    """It leaves the bus and comes back, and no controller of the tractor has a code for it."""
    (one,) = [o for o in season.recordings if o.file_name.startswith("2025-10-01_new_tractor")]
    channel = one.frames.channels.index("can1")
    wagon = (one.frames.channel == channel) & ((one.frames.ident & 0xFF) == 140)
    claims = wagon & ((one.frames.ident >> 16 & 0xFF) == 0xEE)
    assert int(claims.sum()) >= 3
    gaps = [int(gap) for gap in (one.frames.time_us[wagon][1:] - one.frames.time_us[wagon][:-1])]
    assert sum(2_000_000 < gap < 20_000_000 for gap in gaps) >= 3
    assert not any(true.spn in (639, 1231) and true.active for true in one.truth.faults)


def test_repairs_by_hand_are_filed_for_their_faults(season: Season) -> None:
    listed = call(season.book, "faults", "--all", "--json").done()
    for machine in listed["machines"]:
        written = [o for o in season.made.repairs if o.machine == machine["machine_name"]]
        assert sorted(o["text"] for o in machine["repairs"]) == sorted(o.text for o in written)
        told = {(o["spn"], o["fmi"]) for o in machine["faults"]}
        for one in written:
            (filed,) = [o for o in machine["repairs"] if o["text"] == one.text]
            assert filed["hours"] == one.hours
            followed = [
                (o["spn"], o["fmi"])
                for o in machine["faults"]
                if o["spn"] is not None
                and any(f["repair"] == filed["repair"] for f in o["followups"])
            ]
            assert set(followed) <= set(one.about)
            assert set(one.about) & told or not followed


def test_written_season_lies_beside_its_truth(season: Season, tmp_path: Path) -> None:
    """One group again, by the demo's own hand: the same files, and the truth as data."""
    made = write_season(tmp_path, quietly, groups=(7,))
    mine = [one for one in season.made.written if one.machines[0] == "the old utility tractor"]
    assert list(made.written) == mine
    for one in made.written:
        # The header of .asc says when it was written.
        if ".asc" not in one.file_name:
            assert made.path(one).read_bytes() == season.made.path(one).read_bytes()
    told = json.loads((tmp_path / TRUTH).read_text(encoding="utf-8"))
    assert {one["cause"] for one in told["season"]["machines"][0]["causes"]} >= {
        "low_voltage.main_ground"
    }
    assert [one["file_name"] for one in told["recordings"]] == [one.file_name for one in mine]
    assert write_season(tmp_path, quietly, groups=(7,)) == made
