"""Symptoms and events in people's words."""

from __future__ import annotations

import pytest

from shearbolt.dictionary.phrases import known_phrases, matches, stem, words_of
from shearbolt.errors import NoteNotUnderstood
from shearbolt.wire.typed import TypedCode, TypedNote, read_event, read_note, read_symptom

SYMPTOMS = [
    ("won't crank", "wont_crank"),
    ("nothing happens, doesn't turn over", "wont_crank"),
    ("starter just clicks", "wont_crank"),
    ("Cranks but won't start", "cranks_wont_start"),
    ("turns over fine but does not fire", "cranks_wont_start"),
    ("It won’t start", "wont_start"),
    ("refuses to start", "wont_start"),
    ("hard to start in the morning", "hard_start"),
    ("cranks slowly", "cranks_slowly"),
    ("weak lift", "weak_lift"),
    ("the loader is slow", "weak_lift"),
    ("lift sinks overnight", "lift_sinks"),
    ("black smoke", "smoke_black"),
    ("smokes white when cold", "smoke_white"),
    ("smoke is blue", "smoke_blue"),
    ("smoking", "smoke"),
    ("belt squeals", "belt_noise"),
    ("fan belt slipping", "belt_slips"),
    ("belt", "belt_trouble"),
    ("hose leaking", "hose_leak"),
    ("burst hose", "hose_leak"),
    ("low power", "low_power"),
    ("no power uphill", "low_power"),
    ("overheats", "overheats"),
    ("engine runs too hot", "overheats"),
    ("stalls at headland", "stalls"),
    ("engine cuts out", "stalls"),
    ("not charging", "no_charge"),
    ("hard shifting", "hard_shifting"),
    ("gearbox jerks", "jerks"),
    ("jerks when pulling away", "jerks"),
    ("PTO drops out", "pto_drops_out"),
    ("air leak at the trailer", "air_leak"),
    ("brake air low", "brake_air_low"),
    ("warning lamp on, no code", "lamp_without_code"),
    ("amber light", "lamp_without_code"),
    ("smell of fuel", "smell_fuel"),
    ("smells of diesel in the cab", "smell_fuel"),
    ("won't regenerate", "regen_fails"),
    ("shear bolt went again", "shear_bolt"),
    ("flames at the manifold", "fire"),
]
EVENTS = [
    ("washed", "washed"),
    ("hosed it down", "washed"),
    ("welded on", "welded_on"),
    ("jump-started", "jump_started"),
    ("battery off", "battery_off"),
    ("disconnected the battery", "battery_off"),
    ("stood over winter", "stood"),
    ("fuel delivered", "fuel_delivered"),
    ("filled with diesel", "fuel_delivered"),
    ("DEF delivered", "def_delivered"),
    ("implement changed", "implement_changed"),
    ("swapped the baler for the mower", "implement_changed"),
    ("lent out", "lent_out"),
    ("mice nest under the bonnet", "rodents"),
    ("rodents seen", "rodents"),
    ("lightning", "lightning"),
    ("new tyres", "tyre_changed"),
    ("changed a front tire", "tyre_changed"),
    ("software updated", "software_updated"),
]


@pytest.mark.parametrize(("typed", "key"), SYMPTOMS)
def test_symptoms(typed: str, key: str) -> None:
    note = read_symptom(f"  {typed} ")
    assert (note.kind, note.key, note.words) == ("symptom", key, typed)
    assert read_note(typed) == read_symptom(typed)


@pytest.mark.parametrize(("typed", "key"), EVENTS)
def test_events(typed: str, key: str) -> None:
    note = read_event(typed)
    assert (note.kind, note.key, note.words) == ("event", key, typed)
    assert read_note(typed) == note


def test_every_text_of_ours_means_itself() -> None:
    """What the tables call a thing in words must lead back to it."""
    for known in known_phrases():
        found = matches(known.text)
        assert found, known.text
        best = [one.known.key for one in found if one.weight == found[0].weight]
        assert known.key in best, (known.text, best)


def test_words_are_cut_alike() -> None:
    assert words_of("It won't START; smoking!") == ("it", "not", "start", "smok")
    assert words_of("does not turn, refuses to turn") == ("not", "turn", "not", "turn")
    assert stem("slipping") == stem("slips") == stem("slip")
    assert stem("smoke") == stem("smokes") == stem("smoking")


def test_a_denied_symptom_is_none() -> None:
    assert [one.known.key for one in matches("no smoke")] == []
    assert [one.known.key for one in matches("no smoke but low power")] == ["low_power"]
    with pytest.raises(NoteNotUnderstood):
        read_symptom("never overheats")


def test_own_words_are_kept() -> None:
    typed = "makes a noise like a duck"
    assert read_symptom(typed).key == "noise"
    own = "quacks"
    assert read_symptom(own, own_words=True) == TypedNote("symptom", own, None, own)
    assert read_note(own, own_words="symptom") == TypedNote("symptom", own, None, own)
    assert read_note("110.00", own_words="event") == read_note("110.00")
    assert read_note("weak lift again", own_words="symptom").doubt is None
    assert read_event(own, own_words=True) == TypedNote("event", own, None, own)
    with pytest.raises(NoteNotUnderstood, match=r"'quacks'.*'won't crank', 'weak lift' or 'black"):
        read_symptom(own)
    with pytest.raises(NoteNotUnderstood, match=r"fits no event.*'washed', 'jump-started' or"):
        read_event(own)
    with pytest.raises(NoteNotUnderstood, match="neither a code nor a symptom or event"):
        read_note(own)


def test_the_wrong_kind_is_named() -> None:
    with pytest.raises(NoteNotUnderstood, match="understood the symptom 'Weak lift', but no event"):
        read_event("weak lift")
    with pytest.raises(NoteNotUnderstood, match="understood the event 'Washed', but no symptom"):
        read_symptom("washed")


@pytest.mark.parametrize("typed", ["changed the oil", "replaced the alternator", "new oil filter"])
def test_a_repair_is_no_event(typed: str) -> None:
    for read in (read_note, read_event):
        with pytest.raises(NoteNotUnderstood, match="which is a repair and no event"):
            read(typed)


def test_several_meanings_are_said() -> None:
    note = read_note("belt and hose")
    assert note.doubt is not None
    assert "Belt" in note.doubt or "Hose" in note.doubt


def test_a_code_goes_before_words() -> None:
    note = read_note("P0217 overheating")
    assert isinstance(note, TypedCode)
    assert note.code == "P0217"
    with pytest.raises(NoteNotUnderstood, match="45 is no FMI"):
        read_note("110.45")


def test_nothing_and_too_much() -> None:
    for typed in ("", "  ", "?!"):
        with pytest.raises(NoteNotUnderstood, match="nothing was typed"):
            read_symptom(typed, own_words=True)
    with pytest.raises(NoteNotUnderstood, match="too long for one note"):
        read_symptom("smoke " * 1000, own_words=True)
