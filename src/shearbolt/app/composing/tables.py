"""The tables of facts as sentences need them: ours, with the owner's additions beside them."""

from __future__ import annotations

from dataclasses import dataclass

from shearbolt.book.records import Fault
from shearbolt.dictionary.faults import fault_text
from shearbolt.dictionary.merged import Dictionary
from shearbolt.dictionary.names import address_text, function_text
from shearbolt.dictionary.obd_codes import code_text
from shearbolt.dictionary.uds_words import failure_type_words
from shearbolt.model.controller import Name


@dataclass(frozen=True, slots=True)
class FactTables:
    """Texts for numbers."""

    dictionary: Dictionary

    def function_text(self, name: Name) -> str:
        """Name a controller's function."""
        return function_text(name)

    def address_text(self, address: int | None, industry_group: int | None) -> str:
        """Say who usually sits at an address."""
        if address is None:
            return "a controller without an address"
        if address > 255:
            return f"control unit answering at {address:X}"
        return address_text(address, industry_group)

    def fault_text(self, spn: int, fmi: int) -> str:
        """Say a code in plain words from our own tables."""
        return fault_text(spn, fmi)

    def road_code_text(self, code: str) -> str:
        """Say a road vehicle's code in plain words, with its failure type where it has one."""
        plain, _, failure_type = code.partition("-")
        try:
            text = code_text(plain).text
        except ValueError:
            return f"a code of the maker's own form ({code})"
        if not failure_type:
            return text
        return f"{text} ({failure_type_words(int(failure_type, 16))})"

    def own_text(self, fault: Fault, name: Name | None = None) -> str | None:
        """Return the owner's own text for a fault, where there is one."""
        if fault.spn is None or fault.fmi is None:
            return None
        if fault.manufacturer_code is not None and fault.function is not None:
            name = Name(fault.manufacturer_code << 21 | fault.function << 40)
        own = self.dictionary.owner_text(fault.spn, fault.fmi, name)
        return None if own is None else own.text
