"""Checks done and repairs as documents."""

from __future__ import annotations

from collections.abc import Mapping

from shearbolt.app.composing.check_words import check_title, outcome_words
from shearbolt.app.documents.asking import PLAIN_WORDING, Wording
from shearbolt.app.documents.fault import Fault
from shearbolt.app.documents.work import CheckDoneEntry, RepairEntry
from shearbolt.book import records as r
from shearbolt.book.work_records import CheckDone
from shearbolt.dictionary.checks import checks
from shearbolt.model.instants import to_iso


def check_entry(
    done: CheckDone, texts: Mapping[str, str], wording: Wording = PLAIN_WORDING
) -> CheckDoneEntry:
    """Tell a check that was done; `texts` names the machine's faults.

    One that the catalogue no longer knows keeps its name.
    """
    one = checks().get(done.check)
    known = one is not None and one.outcome(done.outcome) is not None
    return {
        "check_done": done.id,
        "fault": done.fault,
        "fault_text": texts.get(done.fault) if done.fault is not None else None,
        "check": done.check,
        "title": check_title(done.check) if one is not None else done.check,
        "outcome": done.outcome,
        "outcome_words": outcome_words(done.check, done.outcome, wording.units)
        if known
        else done.outcome,
        "value": done.value,
        "unit": (one.unit or None) if one is not None and done.value is not None else None,
        "hours": done.hours,
        "date": to_iso(done.date_us) if done.date_us is not None else None,
        "who": done.who,
        "note": done.note,
        "withdrawn": done.withdrawn,
    }


def repair_entry(repair: r.Repair, faults: Mapping[str, Fault]) -> RepairEntry:
    """Tell a repair, and of each fault it was for whether it held."""
    concerned = [faults[one] for one in repair.faults if one in faults]
    return {
        "repair": repair.id,
        "text": repair.text,
        "hours": repair.hours,
        "date": to_iso(repair.date_us) if repair.date_us is not None else None,
        "parts": repair.parts,
        "cost": repair.cost,
        "minutes": repair.minutes,
        "faults": list(repair.faults),
        "fault_texts": [one["text"] for one in concerned],
        "followups": [
            told for one in concerned for told in one["followups"] if told["repair"] == repair.id
        ],
        "withdrawn": repair.withdrawn,
    }
