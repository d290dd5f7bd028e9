"""Symptoms and events as people type them. Text in, a frozen value out; no I/O.

The words are those of `dictionary.phrases`; the person's own words are always kept beside the
name that was found for them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NoReturn

from shearbolt.dictionary.phrases import Match, PhraseKind, matches
from shearbolt.errors import NoteNotUnderstood
from shearbolt.wire.typed_codes import TypedCode, plain_text, read_code, shown

NoteKind = Literal["symptom", "event"]

LONGEST_NOTE = 2000
"""Longest sentence that is taken as one note."""
SYMPTOM_FORMS = "'won't crank', 'weak lift' or 'black smoke'"
EVENT_FORMS = "'washed', 'jump-started' or 'fuel delivered'"


@dataclass(frozen=True, slots=True)
class TypedNote:
    """A symptom or event as a person typed it."""

    kind: NoteKind
    words: str
    """The person's own words, trimmed only."""
    key: str | None
    """Name for programs by symptoms.csv or events.csv; None: only the own words are known."""
    text: str
    """What was understood, in a few words; the own words where there is no key."""
    doubt: str | None = None
    """What else the words might mean."""


def read_symptom(typed: str, *, own_words: bool = False) -> TypedNote:
    """Read a symptom; with `own_words` a sentence that matches none is kept as it is.

    Raises NoteNotUnderstood, whose sentence says what was understood and shows three forms.
    """
    return _read_kind(typed, "symptom", SYMPTOM_FORMS, own_words=own_words)


def read_event(typed: str, *, own_words: bool = False) -> TypedNote:
    """Read an event; with `own_words` a sentence that matches none is kept as it is.

    Raises NoteNotUnderstood, whose sentence says what was understood and shows three forms; a
    repair is no event, and the sentence says where it belongs.
    """
    return _read_kind(typed, "event", EVENT_FORMS, own_words=own_words)


def read_note(typed: str, *, own_words: NoteKind | None = None) -> TypedCode | TypedNote:
    """Read whatever was typed: a code first, else the symptom or event its words fit best.

    With `own_words` the person says that it is a symptom or an event: words that fit none known
    of that kind are kept as they are. Raises NoteNotUnderstood, whose sentence says what was
    understood and shows three forms.
    """
    try:
        return read_code(typed)
    except NoteNotUnderstood as no_code:
        if own_words is not None:
            return _read_kind(typed, own_words, SYMPTOM_FORMS, own_words=True)
        words = _checked(typed)
        found = matches(words)
        if found:
            best = found[0]
            if best.known.kind == "repair":
                _is_repair(typed, best)
            return _note(words, best, best.known.kind, found)
        if any(one.isdigit() for one in plain_text(typed)):
            raise
        raise NoteNotUnderstood(
            f"{shown(typed)}: neither a code nor a symptom or event that is known here. Write it "
            "like 'SPN 110 FMI 0', 'won't crank' or 'washed', or keep it in your own words with "
            "--as symptom or --as event."
        ) from no_code


def _read_kind(typed: str, kind: NoteKind, forms: str, *, own_words: bool) -> TypedNote:
    words = _checked(typed)
    found = matches(words)
    fitting = tuple(one for one in found if one.known.kind == kind)
    if fitting:
        better = found[0] if found[0].weight > fitting[0].weight else fitting[0]
        if better.known.kind == "repair" and not own_words:
            _is_repair(typed, better)
        return _note(words, fitting[0], kind, fitting)
    if own_words:
        return TypedNote(kind, words, None, words)
    if found and found[0].known.kind == "repair":
        _is_repair(typed, found[0])
    understood = (
        f"understood the {found[0].known.kind} '{found[0].known.text}', but no {kind}"
        if found
        else f"fits no {kind} that is known here"
    )
    raise NoteNotUnderstood(
        f"{shown(typed)}: {understood}. Write it like {forms}, or say that these are your own "
        "words for it."
    )


def _note(words: str, best: Match, kind: PhraseKind, found: tuple[Match, ...]) -> TypedNote:
    """Make the note of the best match; others that fit as well are named as its doubt."""
    others = [
        one.known.text for one in found if one.weight == best.weight and one.known != best.known
    ]
    doubt = f"the words fit also: {', '.join(others[:3])}" if others else None
    return TypedNote(
        "event" if kind == "event" else "symptom", words, best.known.key, best.known.text, doubt
    )


def _checked(typed: str) -> str:
    words = typed.strip()
    if not any(one.isalnum() for one in words):
        raise NoteNotUnderstood(
            f"{shown(typed)}: nothing was typed. Write it like {SYMPTOM_FORMS}."
        )
    if len(words) > LONGEST_NOTE:
        raise NoteNotUnderstood(
            f"{shown(typed)}: {len(words)} letters are too long for one note (at most "
            f"{LONGEST_NOTE}). Write one symptom or event a note, like {SYMPTOM_FORMS}."
        )
    return words


def _is_repair(typed: str, match: Match) -> NoReturn:
    raise NoteNotUnderstood(
        f"{shown(typed)}: understood '{match.known.text}', which is a repair and no event. Add it "
        f"as a repair; events are like {EVENT_FORMS}."
    )
