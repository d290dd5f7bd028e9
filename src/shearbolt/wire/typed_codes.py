"""Codes as the dash shows them and people type them. Text in, a frozen value out; no I/O.

Forms that are understood:

* SPN and FMI: ``SPN 110 FMI 0``, ``spn110/0``, ``110.00``, ``110-0``, ``110 0``, ``000110.00``,
  ``ECU 110.00``; with a source address ``SA0 SPN 110 FMI 0``; with a count ``x3`` or ``OC 3``;
* SAE J2012 codes: ``P0217``, ``p 0217``, ``C1234``, with a failure type ``U0100-00``;
* blink codes: ``2-3-1``, ``blink 2-3``, ``2 long 3 short``;
* a code of the maker's own: ``code 47``, ``E12``.

Two numbers with a dash or blank between are SPN and FMI when the first is 10 or more, else
blinks: no parameter that machines report has a number under 10. Nothing is guessed silently:
`TypedCode.understood` says what was read, `TypedCode.doubt` what else it might have been.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, replace
from typing import Literal, NoReturn

from shearbolt.dictionary.faults import FMI_TOP, fault_text
from shearbolt.dictionary.signals import SPN_TOP
from shearbolt.errors import NoteNotUnderstood
from shearbolt.model.fault import COUNT_FULL, COUNT_NONE

CodeKind = Literal["j1939", "obd", "uds", "hand"]

LONGEST = 400
"""Longest text that is looked at; a code is far shorter."""
ADDRESS_TOP = 253
"""Highest address a controller may have (SAE J1939-81)."""
FEWEST_SPN = 10
"""Under this, two bare numbers are blinks."""
MOST_BLINKS = 20
"""More flashes in one group nobody counts."""

FORMS = "'SPN 110 FMI 0', '110.00' or 'P0217'"
"""Three accepted forms, for the sentence of a refusal."""


@dataclass(frozen=True, slots=True)
class TypedCode:
    """One code as a person typed it."""

    kind: CodeKind
    """'j1939': SPN and FMI; 'obd': SAE J2012; 'uds': the same with a failure type; 'hand':
    blinks or a maker's own code."""
    typed: str
    """What was typed, as it was."""
    spn: int | None = None
    fmi: int | None = None
    code: str | None = None
    """'P0217', '2-3-1' (blinks), '2 long 3 short', '47': capital letters, no blanks at the ends."""
    failure_type: int | None = None
    """Third byte of an ISO 14229 code (SAE J2012-DA)."""
    blinks: bool = False
    """`code` was counted from a blinking lamp."""
    address: int | None = None
    """Source address, where it was typed."""
    count: int | None = None
    """Occurrence count, where it was typed; 126 is 'at least 126'."""
    unit: str | None = None
    """Which control unit the dash named, in its own letters."""
    doubt: str | None = None
    """What else it might have been."""

    @property
    def understood(self) -> str:
        """Say in words what was read."""
        if self.kind == "j1939" and self.spn is not None and self.fmi is not None:
            text = f"SPN {self.spn} FMI {self.fmi} ({fault_text(self.spn, self.fmi)})"
        elif self.blinks:
            text = f"blink code {self.code}"
        elif self.failure_type is not None:
            text = f"code {self.code} with failure type {self.failure_type:02X}"
        else:
            text = f"code {self.code}"
        if self.address is not None:
            text += f" from address {self.address}"
        if self.count is not None:
            text += f", counted {'at least ' if self.count == COUNT_FULL else ''}{self.count} times"
        return text


_GAP = r"[\s:=#,;./_\-]*"
_ADDRESS = re.compile(
    rf"(?:\bfrom )?\b(?:sa|src|source(?: address)?|address|addr){_GAP}"
    r"(0x[0-9a-f]{1,4}|[0-9]{1,6})\b"
)
_COUNT = re.compile(
    rf"(?:(?<![0-9a-z])x ?|\b(?:oc|occ|count|counts|occurrences?){_GAP})([0-9]{{1,6}})\b"
    r"|\b([0-9]{1,6}) ?(?:times\b|x(?![0-9a-z]))"
)
_SPN_FMI = re.compile(rf"spn{_GAP}([0-9]+){_GAP}(?:fmi)?{_GAP}(?<![0-9])([0-9]+)")
_FMI_SPN = re.compile(rf"fmi{_GAP}([0-9]+){_GAP}spn{_GAP}([0-9]+)")
_SPN_ALONE = re.compile(rf"spn{_GAP}([0-9]+)")
_J2012 = re.compile(r"([pcbu])[\s\-]?([0-3o][0-9a-fo]{3})(?:[\s\-:/.]?([0-9a-f]{2}))?")
_J2012_LIKE = re.compile(r"[pcbu][\s\-]?[0-9][0-9a-f]*")
_PAIR = re.compile(r"([0-9]+)\s?([./:,\-]|\s)\s?([0-9]+)")
_GROUPS = re.compile(r"[0-9]{1,6}(?:\s?[\-,./]\s?[0-9]{1,6}|\s[0-9]{1,6})*")
_LONG_SHORT = re.compile(
    r"(?:([0-9]{1,2}) ?(long|short|l|s)[\s,+\-]*(?:and )?)"
    r"(?:([0-9]{1,2}) ?(long|short|l|s)[\s,+\-]*(?:and )?)?"
    r"(?:([0-9]{1,2}) ?(long|short|l|s))?"
)
_UNITS = (
    "ecu ecm eng engine pcm edc tcu tcm trans tra transmission gearbox cab cabin hyd hcu "
    "hydraulics pto hitch act ats aft abs brake dash display imp implement steer body bcm"
)
_UNIT = re.compile(rf"({'|'.join(_UNITS.split())})\b[\s:#\-]*(?=[0-9pcbu]|spn|fmi)")
_INTRO = re.compile(r"(?:(?:fault|error|trouble|dtc|code|err|no|nr|number)\b[.:#\s]*)+")
_BLINK = re.compile(
    r"(?:(?:the )?(?:lamp|light|led) )?\b(?:blink|flash)(?:es|s|ing|ed)?\b(?: codes?\b)?[:\s]*"
)
_OWN = re.compile(r"(?:[a-z][\-. ]?|[a-z]{2,3}[\-.]?)?[0-9]{1,6}(?:[\-./][0-9a-z]{1,4})?")
_METHOD_BIT = re.compile(rf"\bcm{_GAP}[01]\b")
_CODE_THEN_WORDS = re.compile(r"((?:spn .*|fmi .*)?\S*[0-9]\S*)[\s,:;\-]+([^0-9]+)")
_DASHES = {ord(one): "-" for one in "‐‑‒–—―−"}
_SMALL = {
    **{"one": "1", "two": "2", "three": "3", "four": "4", "five": "5", "six": "6"},
    **{"seven": "7", "eight": "8", "nine": "9", "ten": "10", "eleven": "11", "twelve": "12"},
}
_SMALL_WORD = re.compile(rf"\b({'|'.join(_SMALL)})\b")


def refuse(typed: str, understood: str) -> NoReturn:
    """Raise NoteNotUnderstood: what was typed, what of it was understood, and accepted forms."""
    raise NoteNotUnderstood(f"{shown(typed)}: {understood}. Write it like {FORMS}.")


def shown(typed: str) -> str:
    """Quote what a person typed for a sentence: printable, one line, not too long."""
    clean = " ".join("".join(one if one.isprintable() else " " for one in typed).split())
    return f"'{clean[:60]}…'" if len(clean) > 60 else f"'{clean}'"


def read_code(typed: str) -> TypedCode:
    """Read one code in the forms the dash shows and people type (see the module).

    Raises NoteNotUnderstood, whose sentence says what was understood and shows three forms.
    """
    text = plain_text(typed)
    if not text or len(text) > LONGEST:
        refuse(typed, "no code was typed" if not text else "this is too long for a code")
    text, address = _take_address(typed, text)
    text, count = _take_count(typed, text)
    text = _METHOD_BIT.sub(" ", text).strip(" ,;:/?!-")
    found = _read(typed, text)
    if found is None and (hit := _CODE_THEN_WORDS.fullmatch(text)):
        found = _read(typed, hit[1])
        if found is not None:
            found = replace(found, doubt=found.doubt or "the words after the code were not used")
    if found is None:
        refuse(typed, _guess_in_words(text))
    if address is not None:
        found = replace(found, address=address)
    return found if count is None else replace(found, count=count)


def plain_text(typed: str) -> str:
    """Bring typed text into one form: small letters, plain digits and dashes, single blanks."""
    text = unicodedata.normalize("NFKC", typed[: LONGEST + 1]).casefold().translate(_DASHES)
    return " ".join(text.split())


def format_code(code: TypedCode) -> str:
    """Write a code in a form that `read_code` reads back as the same code."""
    if code.kind == "j1939":
        body = f"SPN {code.spn} FMI {code.fmi}"
    elif code.kind == "hand":
        body = f"{'blink' if code.blinks else 'code'} {code.code}"
    else:
        tail = "" if code.failure_type is None else f"-{code.failure_type:02X}"
        body = f"{code.code}{tail}"
    parts = [body]
    if code.unit is not None and code.kind != "hand":
        parts.insert(0, code.unit)
    if code.address is not None:
        parts.insert(0, f"SA{code.address}")
    if code.count is not None:
        parts.append(f"x{code.count}")
    return " ".join(parts)


def _read(typed: str, text: str) -> TypedCode | None:
    return (
        _labelled(typed, text)
        or _after_intro(typed, text)
        or _plain(typed, text, said_blink=False, said_code=False)
    )


def _take_address(typed: str, text: str) -> tuple[str, int | None]:
    hit = _ADDRESS.search(text)
    if hit is None:
        return text, None
    digits = hit[1]
    address = int(digits, 16) if digits.startswith("0x") else int(digits)
    if address > ADDRESS_TOP:
        refuse(typed, f"{digits} is no source address (0 to {ADDRESS_TOP})")
    return f"{text[: hit.start()]} {text[hit.end() :]}".strip(), address


def _take_count(typed: str, text: str) -> tuple[str, int | None]:
    hit = _COUNT.search(text)
    if hit is None:
        return text, None
    count = int(hit[1] or hit[2])
    if count > COUNT_NONE:
        refuse(typed, f"{count} is no occurrence count (0 to {COUNT_FULL})")
    left = f"{text[: hit.start()]} {text[hit.end() :]}".strip()
    return left, None if count == COUNT_NONE else count


def _labelled(typed: str, text: str) -> TypedCode | None:
    """Read SPN and FMI that are called so, whatever control unit stands before."""
    text, unit = _take_unit(text)
    if hit := _SPN_FMI.fullmatch(text):
        return _j1939(typed, hit[1], hit[2], unit)
    if hit := _FMI_SPN.fullmatch(text):
        return _j1939(typed, hit[2], hit[1], unit)
    if hit := _SPN_ALONE.fullmatch(text):
        refuse(typed, f"understood SPN {_short(hit[1])}, but its FMI is missing")
    return None


def _after_intro(typed: str, text: str) -> TypedCode | None:
    """Read what follows 'code', 'fault', 'blink' and the like."""
    if blink := _BLINK.search(text):
        rest = f"{text[: blink.start()]} {text[blink.end() :]}".strip(" :,")
        rest = _INTRO.sub("", rest).strip(" :,")
        return _plain(typed, rest, said_blink=True, said_code=False)
    if intro := _INTRO.match(text):
        rest = text[intro.end() :]
        return _labelled(typed, rest) or _plain(typed, rest, said_blink=False, said_code=True)
    return None


def _plain(typed: str, text: str, *, said_blink: bool, said_code: bool) -> TypedCode | None:
    text, unit = _take_unit(text)
    text = text.strip(" ,;:")
    if blink := _blinks(typed, text, said_blink=said_blink):
        return blink
    if said_blink:
        return None
    if hit := _J2012.fullmatch(text):
        return _j2012(typed, hit, unit)
    if hit := _PAIR.fullmatch(text):
        return _pair(typed, hit, unit)
    if three := _three(typed, text, unit):
        return three
    if said_code and _OWN.fullmatch(text):
        return TypedCode("hand", typed, code=_tidy(text))
    if _J2012_LIKE.fullmatch(text):
        refuse(
            typed,
            "understood a letter code, but it needs a letter and four digits (or 'code' before it "
            "if the dash shows it so)",
        )
    if re.search("[a-z]", text) and _OWN.fullmatch(text):
        return TypedCode("hand", typed, code=_tidy(text))
    return None


def _take_unit(text: str) -> tuple[str, str | None]:
    hit = _UNIT.match(text)
    return (text[hit.end() :], hit[1].upper()) if hit else (text, None)


def _pair(typed: str, hit: re.Match[str], unit: str | None) -> TypedCode:
    first, between, second = hit[1], hit[2], hit[3]
    found = _j1939(typed, first, second, unit)
    if int(first) >= FEWEST_SPN:
        return found
    groups = f"{int(first)}-{int(second)}"
    if between in "./:" or unit is not None or int(first) == 0 or int(second) == 0:
        doubt = f"if it was counted from a blinking lamp, write 'blink {groups}'"
        return replace(found, doubt=doubt)
    doubt = f"if it is a parameter number, write 'SPN {int(first)} FMI {int(second)}'"
    return TypedCode("hand", typed, code=groups, blinks=True, doubt=doubt)


def _three(typed: str, text: str, unit: str | None) -> TypedCode | None:
    """Read three numbers that no lamp can blink as SPN, FMI and count."""
    numbers = re.split(r"\s?[\-,./]\s?|\s", text) if _GROUPS.fullmatch(text) else []
    if len(numbers) != 3:
        return None
    spn, fmi, count = numbers
    if int(spn) <= MOST_BLINKS:
        refuse(
            typed,
            "understood three numbers, but not which is which; if they are address, SPN and FMI, "
            f"write 'SA{_short(spn)} SPN {_short(fmi)} FMI {_short(count)}'",
        )
    if int(count) > COUNT_NONE:
        refuse(typed, f"understood SPN and FMI, but {count} is no occurrence count")
    doubt = f"the last number, {int(count)}, was taken for the occurrence count"
    found = _j1939(typed, spn, fmi, unit)
    counted = None if int(count) == COUNT_NONE else int(count)
    return replace(found, count=counted, doubt=doubt)


def _j1939(typed: str, spn_digits: str, fmi_digits: str, unit: str | None) -> TypedCode:
    if len(spn_digits) > 9 or int(spn_digits) > SPN_TOP:
        refuse(typed, f"{_short(spn_digits)} is no SPN (at most {SPN_TOP})")
    spn = int(spn_digits)
    if len(fmi_digits) > 9 or int(fmi_digits) > FMI_TOP:
        refuse(typed, f"understood SPN {spn}, but {_short(fmi_digits)} is no FMI (0 to {FMI_TOP})")
    fmi = int(fmi_digits)
    if (spn, fmi) in ((0, 0), (SPN_TOP, FMI_TOP)):
        refuse(typed, f"SPN {spn} FMI {fmi} says that there is no fault (SAE J1939-73)")
    return TypedCode("j1939", typed, spn=spn, fmi=fmi, unit=unit)


def _j2012(typed: str, hit: re.Match[str], unit: str | None) -> TypedCode:
    digits = hit[2]
    doubt = "a letter O was taken for a nought" if "o" in digits else None
    code = (hit[1] + digits.replace("o", "0")).upper()
    failure = None if hit[3] is None else int(hit[3], 16)
    kind: CodeKind = "obd" if failure is None else "uds"
    return TypedCode(kind, typed, code=code, failure_type=failure, unit=unit, doubt=doubt)


def _blinks(typed: str, text: str, *, said_blink: bool) -> TypedCode | None:
    """Read groups of flashes: three or more small numbers, any number when called blinks."""
    text = _SMALL_WORD.sub(lambda hit: _SMALL[hit[1]], text)
    if hit := _LONG_SHORT.fullmatch(text):
        pairs = [(hit[n], hit[n + 1]) for n in (1, 3, 5) if hit[n]]
        if all(1 <= int(number) <= MOST_BLINKS for number, _ in pairs):
            words = [f"{int(n)} {'long' if kind[0] == 'l' else 'short'}" for n, kind in pairs]
            return TypedCode("hand", typed, code=" ".join(words), blinks=True)
    if not _GROUPS.fullmatch(text):
        return None
    numbers = [int(one) for one in re.split(r"\s?[\-,./]\s?|\s", text)]
    small = all(1 <= one <= MOST_BLINKS for one in numbers)
    if small and (len(numbers) >= 3 or said_blink):
        return TypedCode("hand", typed, code="-".join(map(str, numbers)), blinks=True)
    if said_blink and numbers[0] <= 99 and len(numbers) == 1 and numbers[0]:
        return TypedCode("hand", typed, code=str(numbers[0]), blinks=True)
    if said_blink:
        refuse(typed, f"understood a blink code, but a group has 1 to {MOST_BLINKS} blinks")
    return None


def _guess_in_words(text: str) -> str:
    """Say what of an unreadable code was understood."""
    if re.fullmatch("[0-9]+", text):
        return (
            f"understood the number {_short(text)}, but a parameter needs its FMI "
            "(write 'code' before it if the dash shows only this number)"
        )
    if re.search("[0-9]", text):
        return "it holds numbers, but in no form of a code that is known here"
    return "there is no code in it"


def _short(digits: str) -> str:
    return digits.lstrip("0")[:12] or "0"


def _tidy(text: str) -> str:
    return text.strip().upper().replace(" ", "")
