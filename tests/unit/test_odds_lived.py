"""Odds on a few lived cases of the proving ground, with their truth: a smoke test."""

from __future__ import annotations

import pytest
from tests.lived_cases import LivedCase, lived
from tests.odds_made import all_odds

from shearbolt.dictionary.cause_priors import CAUSES
from shearbolt.proving import case


def small(cause: str, seed: int = 3) -> LivedCase:
    """Make a utility tractor with one cause at its worst, half an hour recorded."""
    return lived(
        case(seed, "utility_tractor", (cause,), 1.0, 0.2, hours=2.5, look_s=300, repaired=False)
    )


@pytest.mark.parametrize(
    ("cause", "of"),
    [
        ("wiring.open.110", "wiring"),
        ("shared_supply.short.engine_a", "shared_supply"),
    ],
)
def test_the_true_cause_is_first_or_gains(cause: str, of: str) -> None:
    made = small(cause)
    seen = {
        one.fault for visit in made.case.visits for one in visit.faults if one.seen.spells
    } & set(made.truth)
    assert seen, "the cause showed itself in no recording"
    odds = all_odds(made.case)
    shares = [odds[name].posterior[of] for name in seen if name in odds]
    first = [max(CAUSES, key=odds[name].posterior.__getitem__) for name in seen if name in odds]
    assert shares
    assert first.count(of) >= len(first) / 2  # type: ignore[arg-type]
    assert sum(shares) / len(shares) > 0.45
    for one in odds.values():
        assert sum(one.posterior.values()) == pytest.approx(1.0)
