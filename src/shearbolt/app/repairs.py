"""Which faults a repair is about, where the person names none."""

from __future__ import annotations

import re

from shearbolt.app.composing.labels import fault_words
from shearbolt.app.composing.tables import FactTables
from shearbolt.app.concluding.record import MachineRecord, looks_at
from shearbolt.reasoning.standing import standing

_SMALL = (
    "a an and as at by engine for from in is new of off old on or out replaced set the to up was "
    "with changed fitted cleaned code fault faults fmi spn too low high"
)
SMALL_WORDS = frozenset(_SMALL.split(" "))
"""Words that name no part."""


def faults_named(text: str, record: MachineRecord, tables: FactTables) -> tuple[str, ...]:
    """Return the open faults that a repair's text plainly names.

    It names one by its code (SPN with or without FMI, or P-code), or by the telling words of its
    name, all of them.
    """
    plain = text.casefold()
    numbers = set(re.findall(r"\d{2,6}", plain))
    codes = {code.upper() for code in re.findall(r"\b[pcbu][0-3][0-9a-f]{3}\b", plain)}
    words = set(re.findall(r"[^\W\d_]{3,}", plain))
    named: list[str] = []
    for fault in record.faults:
        judged = standing(looks_at(record, fault))
        if judged.stale or judged.state == "cleared":
            continue
        by_spn = fault.spn is not None and str(fault.spn) in numbers and "spn" in plain
        by_code = fault.code is not None and fault.code[:5].upper() in codes
        if by_spn or by_code:
            named.append(fault.id)
        else:
            name = fault_words(fault, tables)[0].casefold().split(":")[0]
            telling = set(re.findall(r"[^\W\d_]{3,}", name)) - SMALL_WORDS
            stems = {word.rstrip("s") for word in words}
            if telling and all(word.rstrip("s") in stems for word in telling):
                named.append(fault.id)
    return tuple(named)
