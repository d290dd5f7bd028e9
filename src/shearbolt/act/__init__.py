"""The only part that may send on a real bus; so far it asks, and never changes anything.

    asker = Asker(name, word=True)              # decides; no I/O (RoadAsker for road vehicles)
    gate = Gate(name, groups, road=False)       # the last step: what is not listed goes no further
    port = Port.open("socketcan", "can0", gate, clock_us)
    while asker.ended is None:
        frame = port.receive(0.05)
        for one in asker.step(clock_us(), [frame] if frame else []):
            asker.sent(port.send(one))

`asker.requests` tells who answered what, `asker.stand` how the machine stood.
"""

from shearbolt.act.askable import (
    Askable,
    RoadAskable,
    askable_groups,
    road_requests,
)
from shearbolt.act.asking import Asker
from shearbolt.act.gate import Gate
from shearbolt.act.outcome import Ended, Request
from shearbolt.act.port import Port, frame_of
from shearbolt.act.road_asking import RoadAsker
from shearbolt.act.standstill import SpeedReading, Stand
from shearbolt.act.tool import ADDRESS, claim_frame, request_frame, tool_name

__all__ = [
    "ADDRESS",
    "Askable",
    "Asker",
    "Ended",
    "Gate",
    "Port",
    "Request",
    "RoadAskable",
    "RoadAsker",
    "SpeedReading",
    "Stand",
    "askable_groups",
    "claim_frame",
    "frame_of",
    "request_frame",
    "road_requests",
    "tool_name",
]
