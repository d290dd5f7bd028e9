"""Symptoms and events in the words people use for them, and how a sentence is matched to one.

`data/symptoms.csv` and `data/events.csv` hold phrases divided by semicolons. A phrase is a few
words; `a/b` stands for either. It fits a sentence that has all its words close together, in any
order, unless it holds 'not': then their order counts. Word endings do not matter, every negation
('won't', 'no', 'never', ...) is 'not', and a phrase that stands negated ('no smoke') does not fit.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Literal

from shearbolt.dictionary.tables import table
from shearbolt.errors import DictionaryError

PhraseKind = Literal["symptom", "event", "repair"]
_KINDS: dict[str, PhraseKind] = {"symptom": "symptom", "event": "event", "repair": "repair"}

_LOOSE = 3
"""How many other words may stand between the words of a phrase."""
_WORD = re.compile(r"[^\W_]+(?:['’][^\W_]+)*")
_TWO_WORDS = re.compile(
    r"\b(will|would|does|do|did|is|are|can|could|has|had|was) not\b|\brefus(es|ed|ing) to\b"
    r"|\bfail(s|ed|ing) to\b|\bcannot\b"
)
_NEGATIONS = frozenset(
    (
        *("not", "no", "never", "wont", "wouldnt", "doesnt", "dont"),
        *("didnt", "isnt", "arent", "cant", "couldnt", "hasnt", "wasnt"),
    )
)
_NOT = "not"


@dataclass(frozen=True, slots=True)
class Known:
    """One symptom or event that has a name of its own."""

    key: str
    """Name for programs, stable."""
    kind: PhraseKind
    """'repair': no event; it belongs with the repairs."""
    text: str
    """A few plain words for people."""
    phrases: tuple[tuple[frozenset[str], ...], ...]
    """Phrases, each a row of words, each word the stems that serve for it."""


@dataclass(frozen=True, slots=True)
class Match:
    """A symptom or event found in a sentence."""

    known: Known
    weight: int
    """Number of words of the phrase that fits; more is surer."""


def stem(word: str) -> str:
    """Cut a word to the part that its endings share: 'smoking' and 'smoke' become 'smok'."""
    for ending in ("ing", "ed", "es", "s"):
        if word.endswith(ending) and len(word) - len(ending) >= 3 and not word.endswith("ss"):
            word = word[: -len(ending)]
            break
    if len(word) > 3 and word[-1] == word[-2] and word[-1] not in "aeiou":
        word = word[:-1]
    return word[:-1] if len(word) > 3 and word.endswith("e") else word


def words_of(sentence: str) -> tuple[str, ...]:
    """Cut a sentence into stems, every negation as 'not'."""
    plain = _TWO_WORDS.sub("not", sentence.casefold())
    found: list[str] = []
    for hit in _WORD.findall(plain):
        word = hit.replace("'", "").replace("’", "")
        found.append(_NOT if word in _NEGATIONS else stem(word))
    return tuple(found)


@cache
def known_phrases() -> tuple[Known, ...]:
    """Give all symptoms and events of the tables, symptoms first."""
    found: list[Known] = []
    for name in ("symptoms", "events"):
        for fields in table(name):
            kind = _KINDS.get(fields.get("kind", "symptom"))
            if kind is None:
                raise DictionaryError(f"{name}.csv: '{fields['kind']}' is no kind of note")
            phrases = tuple(
                tuple(frozenset(map(stem, word.split("/"))) for word in phrase.split())
                for phrase in fields["words"].split(";")
            )
            found.append(Known(fields["key"], kind, fields["text"], phrases))
    return tuple(found)


def matches(sentence: str) -> tuple[Match, ...]:
    """Find the symptoms and events that a sentence names, the surest first."""
    words = words_of(sentence)
    found: list[Match] = []
    for known in known_phrases():
        weight = max((len(one) for one in known.phrases if _fits(one, words)), default=0)
        if weight:
            found.append(Match(known, weight))
    return tuple(sorted(found, key=lambda one: -one.weight))


def _fits(phrase: tuple[frozenset[str], ...], words: tuple[str, ...]) -> bool:
    return any(_fits_from(phrase, words, first) for first in _starts(phrase, words))


def _starts(phrase: tuple[frozenset[str], ...], words: tuple[str, ...]) -> Iterator[int]:
    """Give the places where one of the phrase's words stands and is not negated from outside."""
    ordered = any(_NOT in word for word in phrase)
    openers = phrase[0] if ordered else frozenset().union(*phrase)
    for at, word in enumerate(words):
        if word in openers and (ordered or at == 0 or words[at - 1] != _NOT):
            yield at


def _fits_from(phrase: tuple[frozenset[str], ...], words: tuple[str, ...], first: int) -> bool:
    window = words[first : first + len(phrase) + _LOOSE]
    if any(_NOT in word for word in phrase):
        place = 0
        for wanted in phrase:
            while place < len(window) and window[place] not in wanted:
                place += 1
            if place == len(window):
                return False
            place += 1
        return True
    left = list(phrase)
    for word in window:
        for wanted in left:
            if word in wanted:
                left.remove(wanted)
                break
    return not left
