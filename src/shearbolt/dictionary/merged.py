"""Our tables and the owner's as one frozen value, handed to decoding and to the pages."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING

from shearbolt.dictionary.signals import by_group, row_of_spn, rows_of_group
from shearbolt.model.layout import SignalRow

# Names and texts are imported where they are asked for: decoding a recording needs rows alone.
if TYPE_CHECKING:
    from shearbolt.dictionary.owner import CodeText
    from shearbolt.model.controller import Name

_TextKey = tuple[int, int, int, int | None]


@dataclass(frozen=True, slots=True)
class Dictionary:
    """What every number means: ours first, the owner's beside it, never mixed up.

    Make one with `Dictionary.ours()` or `Dictionary.with_owner(...)`.
    """

    signals: tuple[SignalRow, ...] = ()
    """The owner's rows, as they were given."""
    texts: tuple[CodeText, ...] = ()
    """The owner's texts of codes, as they were given."""
    _groups: dict[int, tuple[SignalRow, ...]] = field(
        default_factory=dict, repr=False, compare=False
    )
    _spns: dict[int, tuple[SignalRow, ...]] = field(default_factory=dict, repr=False, compare=False)
    _texts: dict[_TextKey, CodeText] = field(default_factory=dict, repr=False, compare=False)

    @staticmethod
    def ours() -> Dictionary:
        """Give our own tables alone."""
        return _ours()

    @staticmethod
    def with_owner(
        signals: tuple[SignalRow, ...] = (), texts: tuple[CodeText, ...] = ()
    ) -> Dictionary:
        """Give our tables with the owner's rows and texts beside them."""
        spns: dict[int, tuple[SignalRow, ...]] = {}
        for row in signals:
            spns[row.spn] = (*spns.get(row.spn, ()), row)
        return Dictionary(
            signals,
            texts,
            by_group(signals),
            spns,
            {(one.manufacturer_code, one.function, one.spn, one.fmi): one for one in texts},
        )

    def rows_of_group(self, pgn: int, address: int | None = None) -> tuple[SignalRow, ...]:
        """Give the rows of a group as sent from `address`, ours first.

        The owner's rows for one address are left out for any other, and when the address is not
        given.
        """
        own = self._groups.get(pgn, ())
        return rows_of_group(pgn) + tuple(row for row in own if row.address in (None, address))

    def addresses_of_group(self, pgn: int) -> tuple[int, ...]:
        """Give the addresses that the owner's rows of a group are limited to, rising."""
        own = self._groups.get(pgn, ())
        return tuple(sorted({row.address for row in own if row.address is not None}))

    def rows_of_spn(self, spn: int) -> tuple[SignalRow, ...]:
        """Give the rows of a parameter, ours first."""
        return row_of_spn(spn) + self._spns.get(spn, ())

    def group_is_known(self, pgn: int) -> bool:
        """Tell whether a public table or the owner names this group."""
        from shearbolt.dictionary.groups import group_is_known

        return group_is_known(pgn) or pgn in self._groups

    def acronym(self, pgn: int) -> str:
        """Give a group's short name, ours before the owner's; an empty text when none is known."""
        from shearbolt.dictionary.groups import acronym

        own = self._groups.get(pgn, ())
        return acronym(pgn) or next((row.acronym for row in own if row.acronym), "")

    def known_spn(self, spn: int) -> bool:
        """Tell whether a public table names this parameter.

        The owner's rows do not count: makers use one number for different things.
        """
        from shearbolt.dictionary.faults import known_spn

        return known_spn(spn)

    def spn_name(self, spn: int) -> str | None:
        """Give the public name of a parameter, or the owner's for a signal of their own."""
        from shearbolt.dictionary.faults import spn_name

        own = self._spns.get(spn, ())
        return spn_name(spn) or next((row.name for row in own), None)

    def owner_text(self, spn: int, fmi: int, name: Name | None) -> CodeText | None:
        """Give the owner's text for a code of this kind of controller, or None.

        A text belongs to one manufacturer code and function; it is never used for another, nor
        for a controller whose NAME was not heard. The text of one FMI goes before that of all.
        """
        if name is None:
            return None
        kind = name.manufacturer_code, name.function
        return self._texts.get((*kind, spn, fmi)) or self._texts.get((*kind, spn, None))

    def text(self, spn: int, fmi: int, name: Name | None = None) -> str:
        """Say a fault code in plain words: the owner's text for its controller, else ours."""
        from shearbolt.dictionary.faults import fault_text

        own = self.owner_text(spn, fmi, name)
        return own.text if own else fault_text(spn, fmi)


@cache
def _ours() -> Dictionary:
    return Dictionary()


def dictionary_of(signals: str, texts: str) -> Dictionary:
    """Give our tables with the owner's, from the text of the owner's two files.

    Raises DictionaryError naming file, line and what to do.
    """
    if not signals.strip() and not texts.strip():
        return Dictionary.ours()
    from shearbolt.dictionary.owner import parse_owner

    owner = parse_owner(signals, texts)
    return Dictionary.with_owner(owner.signals, owner.texts)
