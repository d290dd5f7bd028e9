"""From session to session: a find is a candidate, a second makes it learnt, a miss takes back.

A learnt signal stays marked as learnt for good. It may raise care, never lower it: see `may_raise`.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from shearbolt.reasoning.learning.places import Place

State: TypeAlias = Literal["candidate", "learnt", "dropped"]
SESSIONS = 2
"""Sessions that must have found a place before it is learnt."""


@dataclass(frozen=True, slots=True)
class Kept:
    """What earlier sessions made of a place."""

    place: Place
    sessions: int
    p_value: float | None
    state: State


@dataclass(frozen=True, slots=True)
class Found:
    """What a session found in a place."""

    place: Place
    p_value: float


def after_session(
    kept: Sequence[Kept], found: Sequence[Found], heard: Collection[tuple[int, int]]
) -> tuple[Kept, ...]:
    """Give what changes by a further, sound session; what does not change is left out.

    Found for the first time: a candidate. Found again: learnt, with the larger of the p-values.
    A place that did not follow although its group was heard (`heard`: group, address): a learnt
    one becomes a candidate once more, a candidate is dropped. A dropped one begins anew.
    """
    changes: list[Kept] = []
    known = {_key(one.place): one for one in kept}
    again = {_key(one.place): one for one in found}
    for key, one in again.items():
        before = known.get(key)
        if before is None or before.state == "dropped":
            changes.append(Kept(one.place, 1, one.p_value, "candidate"))
            continue
        sessions = before.sessions + 1
        state: State = "learnt" if sessions >= SESSIONS else "candidate"
        p_value = max(one.p_value, before.p_value or 0.0)
        changes.append(Kept(before.place, sessions, p_value, state))
    for key, before in known.items():
        if key in again or before.state == "dropped":
            continue
        if (before.place.group, before.place.address) not in heard:
            continue
        if before.state == "learnt":
            changes.append(Kept(before.place, SESSIONS - 1, before.p_value, "candidate"))
        else:
            changes.append(Kept(before.place, 0, before.p_value, "dropped"))
    return tuple(sorted(changes, key=lambda one: one.place))


def _key(place: Place) -> tuple[int, int, int]:
    # The width of a number may be seen differently from one session to the next.
    return place.group, place.address, place.start_bit


CARE = ("note_only", "keep_working", "finish_gently", "stop_now")
"""Advice classes, the least careful first."""


def may_raise(advice: str, by_learnt: str) -> str:
    """Give the advice class where a learnt signal speaks for another one: the more careful of both.

    The only way in which learnt or owner-defined signals may enter advice. Raises ValueError for
    what is no advice class.
    """
    return max(advice, by_learnt, key=CARE.index)
