"""Learning from a machine: guided experiments, passive matching, and its own healthy baseline.

`learn` finds the bits of unknown groups that went with commands, `follow` the numbers that go with
a known quantity, `after_session` says what a further session makes of what was kept; `steps_of`
tells which steps of the guided round a visit shows, `reference_of` what the readings were in them,
`compare` how a later visit differs. Pure: values in, values and keys out.
"""

from shearbolt.reasoning.learning.experiment import Match, Session, learn
from shearbolt.reasoning.learning.passive import Follows, Passive, follow
from shearbolt.reasoning.learning.places import Payloads, Place, joined, payloads_of
from shearbolt.reasoning.learning.prompts import Prompts, smallest_p
from shearbolt.reasoning.learning.reference import (
    Difference,
    ReadingKept,
    Reference,
    compare,
    findings_of,
    reference_of,
)
from shearbolt.reasoning.learning.sessions import Found, Kept, after_session, may_raise
from shearbolt.reasoning.learning.states import LearntState, state_of
from shearbolt.reasoning.learning.steps import StepSeen, next_step, steps_of

__all__ = [
    "Difference",
    "Follows",
    "Found",
    "Kept",
    "LearntState",
    "Match",
    "Passive",
    "Payloads",
    "Place",
    "Prompts",
    "ReadingKept",
    "Reference",
    "Session",
    "StepSeen",
    "after_session",
    "compare",
    "findings_of",
    "follow",
    "joined",
    "learn",
    "may_raise",
    "next_step",
    "payloads_of",
    "reference_of",
    "smallest_p",
    "state_of",
    "steps_of",
]
