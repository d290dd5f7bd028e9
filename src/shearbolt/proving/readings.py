"""What controllers read: from the quantities of a machine to the values of its signals.

`READINGS[spn](trace)` gives what whichever controller reads the signal makes of it, sensors, wires
and supplies included; `sensing.sensed` asks for one controller, `quantities.true_reading` for the
truth.
"""

from __future__ import annotations

from collections.abc import Mapping

from shearbolt.model.frames import F64
from shearbolt.proving.quantities import TRUE_READINGS, Reading
from shearbolt.proving.sensing import sensed
from shearbolt.proving.trace import Trace


def _reading(spn: int) -> Reading:
    def read(trace: Trace) -> F64:
        return sensed(trace, spn)

    return read


READINGS: Mapping[int, Reading] = {spn: _reading(spn) for spn in TRUE_READINGS}
"""Every signal that a controller of the scenario can send, but for the clock."""
