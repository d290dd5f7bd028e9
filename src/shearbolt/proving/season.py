"""The demo season of Corbie Howe, an invented contractor in the invented upper Wenna valley.

Grass from May, maize in September, beet to December: recordings of several machines with faults
whose causes are known, and what was written down by hand in between.
"""

from __future__ import annotations

from shearbolt.model.instants import from_iso
from shearbolt.model.reading import TimeBase
from shearbolt.proving.bus import play
from shearbolt.proving.faults import OFF
from shearbolt.proving.ledger import truth_of
from shearbolt.proving.machines import PICKUP_VIN
from shearbolt.proving.obd import CHANNEL, RoadTrip, play_road
from shearbolt.proving.script import PICKUP_TRIP, SEASON
from shearbolt.proving.truth import (
    DemoRecording,
    TrueFault,
    TrueMachine,
    Truth,
    WrittenNote,
)

PICKUP_FILE = "2026-07-03_pickup_tester.asc"


def demo_season(seed: int = 7) -> list[DemoRecording]:
    """Make the recordings of the season, in the order of their days.

    The same seed gives the same recordings, bit for bit.
    """
    recordings = []
    for number, outing in enumerate(SEASON):
        played = play(outing, seed * 1000 + number)
        recordings.append(
            DemoRecording(
                outing.file_name, outing.file_format, played.frames, truth_of(outing, played)
            )
        )
    recordings.append(_pickup(PICKUP_TRIP, seed * 1000 + 999))
    return sorted(recordings, key=lambda one: one.truth.started_truly)


def _pickup(trip: RoadTrip, seed: int) -> DemoRecording:
    """Make the pickup's recording with the truth of it."""
    frames, trace = play_road(trip, seed)
    words = {
        "P0299": "A hose clamp of the charge air had slipped.",
        "P0128": "The thermostat opens too early.",
    }
    faults = []
    for code, matter in words.items():
        confirmed = code in trip.codes.confirmed
        faults.append(
            TrueFault(
                "pickup", "engine", "obd", CHANNEL, None, None, None, code, confirmed,
                ("obd03" if confirmed else "obd07", "uds19"), (), None, None, OFF,
                "real_condition", matter,
            )
        )  # fmt: skip
    truth = Truth(
        TimeBase.ABSOLUTE,
        from_iso(trip.started),
        int(frames.time_us[-1]),
        trip.started,
        (
            TrueMachine(
                "pickup", "the pickup", PICKUP_VIN, True, False,
                float(trace.hours[0]), float(trace.hours[-1]), False, (),
            ),
        ),
        tuple(faults),
        (),
        (),
        False,
        False,
    )  # fmt: skip
    return DemoRecording(PICKUP_FILE, "asc", frames, truth)


def demo_notes() -> list[WrittenNote]:
    """Return what the yard wrote down by hand in the season, in the order of the days."""
    return sorted(NOTES, key=lambda one: one.date)


NOTES: tuple[WrittenNote, ...] = (
    WrittenNote(
        "the old utility tractor", "2026-04-01", 8122.0, "stood over winter", "event"
    ),
    WrittenNote(
        "the old utility tractor", "2026-04-01", 8122.0, "won't crank", "symptom",
        "first start of the year", "cold", 0.0,
    ),
    WrittenNote("the telehandler", "2026-05-05", 3268.0, "washed", "event"),
    WrittenNote(
        "the big tractor", "2026-06-02", 6411.5, "639.09", "code", "road, loaded", "hot", 90.0
    ),
    WrittenNote(
        "the haulage truck", "2026-07-21", 11_902.0, "SPN 100 FMI 4", "code",
        "rough track to the quarry field", "hot", 45.0,
    ),
    WrittenNote("the forager", "2026-09-12", 2040.0, "implement changed", "event"),
    WrittenNote(
        "the forager", "2026-09-27", 2101.0, "000110.16", "code", "chopping maize", "hot", 120.0
    ),
    WrittenNote("the new tractor", "2026-09-30", 1502.0, "DEF delivered", "event"),
    WrittenNote(
        "the loader wagon", "2026-10-02", None, "shear bolt broke", "symptom",
        "loading, thick swath",
    ),
    WrittenNote(
        "the telehandler", "2026-11-18", 3702.0, "191-2", "code", "turning in the yard", "hot"
    ),
)  # fmt: skip

__all__ = ["NOTES", "demo_notes", "demo_season"]
