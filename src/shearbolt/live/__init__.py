"""Listening to a bus, never sending.

    adapters.py      which adapter, opened to listen only; found by itself where the system can tell
    link.py          what the system says of a CAN network interface
    rates.py         the bit rate, found by listening
    clocks.py        instants that never run back
    reader.py        one thread an adapter
    gathering.py     what the readers heard, in one order of time, as frames
    spool.py         what is heard, on the disk, synced each second; left-overs made whole
    events.py        what happened beside the frames: gaps, clock jumps, overruns
    session.py       readers, spool and blocks together
    error_frames.py  kinds of error frames
    health.py        load, errors, missing groups, silent controllers (pure)

Use::

    adapters = look_at([AdapterAsked("socketcan", "can0")])   # or look_at(find_adapters())
    opened = [one.open(one.bitrate) for one in adapters if not one.finds_rate]   # or leave it out
    spool = Spool(book_folder / SPOOL, new_stem(now_us))
    with Listening(adapters, spool) as session:               # start(), stop(reason)
        while not session.ended:                              # session.trouble says why it ended
            for frames in session.take(0.25):                 # Frames, time strictly rising
                ...
        session.events, session.readers[0].state, .bitrate, .frames, .errors
    ready = recover(spool.path)                               # also for spools of a killed program
    # ready.path is candump text for the ordinary reader; remove(ready.path) once it is filed

`act` sends by its own bus, which it opens itself; it gives this session a way to open that bus to
listen (`open_with`) and tells it what it sent (`note_sent`), so that the record is whole.

Errors: AdapterAbsent, SpoolStopped, NeverSends (all ListeningError), UsageError.
"""

from shearbolt.live.adapters import (
    Adapter,
    AdapterAsked,
    ListenOnly,
    Manners,
    ReceiveOnly,
    find_adapters,
    look_at,
    manners_of,
)
from shearbolt.live.clocks import Clocks, StampFollower, Timeline, system_clocks
from shearbolt.live.events import Event, read_events
from shearbolt.live.health import Finding, Health, Load
from shearbolt.live.link import Link, set_up_words
from shearbolt.live.reader import Reader
from shearbolt.live.session import Listening
from shearbolt.live.spool import LOCK, SPOOL, Recovered, Spool, new_stem, recover, remove, spools

__all__ = [
    "LOCK",
    "SPOOL",
    "Adapter",
    "AdapterAsked",
    "Clocks",
    "Event",
    "Finding",
    "Health",
    "Link",
    "ListenOnly",
    "Listening",
    "Load",
    "Manners",
    "Reader",
    "ReceiveOnly",
    "Recovered",
    "Spool",
    "StampFollower",
    "Timeline",
    "find_adapters",
    "look_at",
    "manners_of",
    "new_stem",
    "read_events",
    "recover",
    "remove",
    "set_up_words",
    "spools",
    "system_clocks",
]
