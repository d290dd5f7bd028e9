"""Address claims (PGN 60928) of SAE J1939-81: who holds which address, and who wins."""

from __future__ import annotations

from dataclasses import dataclass

from shearbolt.model.controller import AddressHeld, Name
from shearbolt.wire.identifier import NO_ADDRESS, TO_ALL

ADDRESS_CLAIMED = 60928
NAME_BYTES = 8
CLAIM_WAIT_US = 250_000
"""A unit at an address of 128 to 247 waits this long after its claim before it speaks
(from memory)."""


@dataclass(frozen=True, slots=True)
class Claim:
    """One address claim."""

    name: Name
    address: int | None
    """Address claimed; None: 'cannot claim', sent from the null address."""


def read_claim(source: int, payload: bytes) -> Claim | None:
    """Read an address claim sent from `source`.

    None when it is shorter than a NAME, or came from the global address, which nobody can hold.
    """
    if len(payload) < NAME_BYTES or source == TO_ALL:
        return None
    name = Name.from_bytes(payload[:NAME_BYTES])
    return Claim(name, None if source == NO_ADDRESS else source)


def winner(one: Name, other: Name) -> Name:
    """Return which of two NAMEs keeps an address both claim: the lower number (J1939-81)."""
    return min(one, other)


@dataclass(slots=True)
class _Stretch:
    address: int
    name: Name
    first_us: int
    last_us: int


class AddressBook:
    """Who holds which address when, on one channel, from the claims heard in file order.

    A claim by a lower NAME takes the address; one by a higher NAME changes nothing, unless the
    holder has not claimed again by the next claim of that NAME (it is gone, or its answer was not
    heard). A NAME holds one address: claiming another, or 'cannot claim', ends the first.
    """

    def __init__(self) -> None:
        self._holders: dict[int, _Stretch] = {}
        self._ended: list[_Stretch] = []
        self._disputed: dict[int, Name] = {}

    def feed(self, time_us: int, claim: Claim) -> None:
        """Take the next claim."""
        for address, held in list(self._holders.items()):
            if held.name == claim.name and address != claim.address:
                self._end(address)
        if claim.address is None:
            return
        address = claim.address
        holder = self._holders.get(address)
        if holder is None:
            self._holders[address] = _Stretch(address, claim.name, time_us, time_us)
        elif holder.name == claim.name:
            holder.last_us = max(holder.last_us, time_us)
            self._disputed.pop(address, None)
        elif winner(holder.name, claim.name) == claim.name or (
            self._disputed.get(address) == claim.name
        ):
            self._end(address)
            self._holders[address] = _Stretch(address, claim.name, time_us, time_us)
        else:
            self._disputed[address] = claim.name

    def holder(self, address: int) -> Name | None:
        """Return the NAME that holds an address now; None where none was heard."""
        held = self._holders.get(address)
        return None if held is None else held.name

    def held(self, channel: str) -> tuple[AddressHeld, ...]:
        """Return all stretches by their beginning; each ends with the last claim that upholds it.

        `channel` is the name put into them.
        """
        every = sorted(
            [*self._ended, *self._holders.values()], key=lambda one: (one.first_us, one.address)
        )
        return tuple(
            AddressHeld(channel, one.address, one.name, one.first_us, one.last_us) for one in every
        )

    def _end(self, address: int) -> None:
        self._ended.append(self._holders.pop(address))
        self._disputed.pop(address, None)
