"""Sentences for people, made from the keys and figures that the book keeps.

A doubt is kept as `key|figure|figure`; what a reader put in words already is shown as it is.
"""

from __future__ import annotations

DOUBTS: dict[str, str] = {
    "no_identity": "No VIN and no controller name was heard, so the machine could not be "
    "recognised; say which it is with --machine.",
    "vin_of_other": "The bus tells the vehicle identification {0}, which the book knows as {1}; "
    "it was filed under {2} as asked.",
    "vin_changed": "The vehicle identification told here ({0}) is not the one known for this "
    "machine ({1}).",
    "names_of_other": "The controllers heard are those of {0}; it was filed under {1} as asked.",
    "boxes_of_other": "The vehicle identification told here ({0}) is new, but control units of {1} "
    "were heard; it was filed as a machine of its own.",
    "names_differ": "The vehicle identification is that of {0}, but none of its controllers "
    "was heard.",
    "swapped_unit": "The {0} is another box than before: its number was {1}, now it is {2} "
    "(a swapped control unit).",
    "moved_unit": "The {0} heard here belonged to {1} before (a control unit moved over).",
    "two_machines": "Two machines are on this recording: {0} and {1}.",
    "two_holders": "Address {0} was claimed by two control units with different names on "
    "channel {1}; frames of two machines may be mixed.",
    "two_vins": "Two vehicle identifications were told on one channel: {0} and {1}.",
    "hours_disagree": "The hour meters disagree: {0} h at address {1}, {2} h at address {3}.",
    "hours_ran_back": "The hour meter ran backwards: {0} h here, {1} h in an earlier visit.",
    "hours_given_differ": "The hours typed in ({0} h) are not those on the bus ({1} h).",
    "clock_off": "The clock on the bus is {0} off the time of this recording.",
    "clock_not_valid": "The clock on the bus shows no valid time.",
    "time_in_future": "The recording's own time lies in the future.",
    "time_too_old": "The recording's own time lies before the year 2000; its clock was not set.",
    "start_from_file": "The recording has no date of its own; its end was taken from the "
    "file's date.",
    "start_unknown": "No date is known for this recording; say when it began with --start.",
    "pauses": "The recording stands still {0} times for more than 5 s, once for {1} s.",
    "ambiguous_method": "Address {0} sends codes in an old form that can be read in several "
    "ways; they stay numbers until more of its codes are known.",
    "damaged": "{0} places of the file could not be read; exposure is not counted from it.",
    "heard_cut": "Listening broke off without being ended (the program was stopped, or the power "
    "went); up to a second before the end is missing.",
    "heard_full": "Listening ended here because the disk was full.",
    "heard_disk": "{0} bytes that had been on the disk already were gone; check the disk.",
    "heard_aloud": "The adapter on {0} was not in a listen-only mode, so it acknowledged what "
    "others sent; it sent nothing of its own.",
    "heard_asking": "Questions were asked on {0}: frames of our own are marked as sent in the "
    "recording, and what came in answer is not what the machine says by itself.",
    "heard_gap": "The adapter on {0} was gone for {1} s; what the bus said in that time is "
    "missing.",
    "heard_gap_open": "The adapter on {0} was gone from here on.",
    "heard_clock": "The computer's clock was set {0} by {1}; the times here go on from the clock "
    "at the start.",
    "heard_stamps": "The adapter's own clock on {0} jumped; the times here go on by arrival.",
    "heard_overrun_driver": "The driver of the adapter on {0} lost frames, {1} times or more.",
    "heard_overrun_here": "{1} frames of {0} were lost because this computer could not keep up.",
    "heard_reader": "Reading {0} broke off and was begun again.",
    "heard_stuck": "The adapter's driver on {0} did not answer for more than 5 s.",
    "connected_faults": "Frames are missing from the regular groups: about {0} % were lost.",
}


def keep(key: str, *figures: object) -> str:
    """Pack a doubt for the book."""
    if key not in DOUBTS:
        raise KeyError(key)
    return "|".join((key, *(str(one).replace("|", "/") for one in figures)))


def doubt_words(kept: str) -> str:
    """Put a kept doubt in words."""
    key, *figures = kept.split("|")
    template = DOUBTS.get(key)
    if template is None:
        return kept
    return template.format(*figures)
