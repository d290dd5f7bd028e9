"""Identifiers: a letter for the kind and seven random characters without look-alikes."""

from __future__ import annotations

import secrets
from collections.abc import Callable

ALPHABET = "0123456789abcdefghjkmnpqrstvwxyz"
"""Thirty-two characters; i, l, o and u are left out so that none is misread."""
RANDOM_CHARACTERS = 7

MACHINE = "m"
CONTROLLER = "c"
VISIT = "v"
FAULT = "f"
NOTE = "n"
REPAIR = "r"
EVENT = "e"
CHECK = "k"
CAUSE = "a"
JOB = "j"
SERVICE = "s"
LEARNT = "b"


def new_id(kind: str, taken: Callable[[str], bool]) -> str:
    """Make an identifier of a kind (one letter) that `taken` does not know yet."""
    while True:
        fresh = kind + "".join(secrets.choice(ALPHABET) for _ in range(RANDOM_CHARACTERS))
        if not taken(fresh):
            return fresh
