"""The odds of a fault as documents: suspects with their evidence, and what could not be judged."""

from __future__ import annotations

from collections.abc import Mapping

from shearbolt.app.composing.evidence_words import evidence_words, unused_words
from shearbolt.app.composing.stamps import moment, seconds
from shearbolt.app.documents.asking import PLAIN_WORDING, Wording
from shearbolt.app.documents.fault import Evidence as EvidenceShown
from shearbolt.app.documents.fault import Suspect as SuspectShown
from shearbolt.book import records as r
from shearbolt.dictionary.cause_priors import Cause
from shearbolt.model.instants import to_iso
from shearbolt.reasoning.odds import Evidence, FaultOdds, Suspect

CAUSES: Mapping[Cause, str] = {
    "real_condition": "It is truly so: the machine itself or its fluids",
    "sensor": "The sensor, its hose or its mounting",
    "wiring": "A wire, plug, fuse or ground of this circuit",
    "shared_supply": "The supply or return that several sensors share",
    "low_voltage": "Weak voltage: battery, charging, main feed or main ground",
    "network": "The bus: its wires, terminators, or a unit that is mute",
    "operator": "The manner of use; the machine is sound",
    "calibration": "A sound part that is not taught, or of the wrong kind",
    "inhibited_regeneration": "Soot, because regenerations are kept from running or finishing",
    "ash": "Ash, which no regeneration burns",
}


def suspects_shown(
    odds: FaultOdds | None, visits: Mapping[str, r.Visit], wording: Wording = PLAIN_WORDING
) -> list[SuspectShown]:
    """Make the suspects of a fault; none where there are no odds."""
    if odds is None:
        return []
    return [_suspect(one, visits, wording) for one in odds.suspects]


def _suspect(one: Suspect, visits: Mapping[str, r.Visit], wording: Wording) -> SuspectShown:
    return {
        "cause": one.cause,
        "probability": one.probability,
        "odds_before": one.before,
        "words": f"{CAUSES[one.cause]}.",
        "contributing": one.contributing,
        "evidence": [_evidence(piece, visits, wording) for piece in one.evidence],
    }


def _evidence(one: Evidence, visits: Mapping[str, r.Visit], wording: Wording) -> EvidenceShown:
    where = [(visits[at.visit], at.at_us) for at in one.at if at.visit in visits]
    at = [moment(visit, at_us) for visit, at_us in where]
    at_s = [seconds(visit, at_us) for visit, at_us in where]
    if not where and one.done_us is not None:
        at, at_s = [to_iso(one.done_us)], [None]
    return {
        "words": evidence_words(one, wording.units),
        "group": one.group,
        "weight_db": one.weight_db,
        "counts": one.counts,
        "reason": one.reason or None,
        "source": one.source,
        "visits": [at.visit for at in one.at if at.visit in visits],
        "at": at,
        "at_s": at_s,
    }


def not_judged(odds: FaultOdds | None) -> list[str]:
    """Say what could not be judged here, and why."""
    if odds is None:
        return []
    told = [unused_words(one) for one in odds.not_used if one.state == "not_possible"]
    return list(dict.fromkeys(told))
