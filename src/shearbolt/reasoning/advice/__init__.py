"""First advice: what to do with the machine now, from lamps, readings, kinds and roots alone.

No odds enter. Where two things are asked the more careful one wins, and the reasons say why. Out
come message keys with values in SI units; `app` makes the sentences.
"""

from shearbolt.reasoning.advice.advise import advise
from shearbolt.reasoning.advice.limp import Limp, limp_modes
from shearbolt.reasoning.advice.regeneration import RegenerationGate, regeneration_gate
from shearbolt.reasoning.advice.values import (
    Advice,
    Gauge,
    MachineAdvice,
    Now,
    Reason,
    Until,
    Watch,
)

__all__ = [
    "Advice",
    "Gauge",
    "Limp",
    "MachineAdvice",
    "Now",
    "Reason",
    "RegenerationGate",
    "Until",
    "Watch",
    "advise",
    "limp_modes",
    "regeneration_gate",
]
