"""The arithmetic of odds: groups, reserve, pairs, priors."""

from __future__ import annotations

import math
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.made_cases import fault, machine, spell, told, visit

from shearbolt.dictionary.cause_priors import CAUSES, OTHER, Cause, prior_of
from shearbolt.dictionary.evidence_ratios import evidence_ratios
from shearbolt.reasoning.company.values import starts_of
from shearbolt.reasoning.odds.odds import assembled
from shearbolt.reasoning.odds.priors import Before, before_evidence
from shearbolt.reasoning.odds.scene import Found, Missing
from shearbolt.reasoning.odds.values import AnswerWeights, OwnCause
from shearbolt.reasoning.odds.weights import (
    MOST_APART_DB,
    Piece,
    group_weights,
    piece_of,
    piece_of_answer,
    posterior,
)

FIVE_DB = 10.0 * math.log10(5.0)
KEYS = sorted(evidence_ratios())


def five(group: str) -> Piece:
    """Make a fact that is five times as likely under a bad sensor as under a bad wire."""
    return Piece(f"five {group}", group, {"sensor": FIVE_DB, "wiring": -FIVE_DB})


def before(spn: int = 100, fmi: int = 1) -> Before:
    """Give a fault's prior on a machine of which nothing is known."""
    one = fault("f", spn, fmi)
    case = machine([visit(0, told(one, spell(10, 20)))], [one])
    return before_evidence(case, one, starts_of(case))


def test_one_fact_seen_thrice_counts_once() -> None:
    """0.30 becomes 0.68, not 0.98 (reference sheet section 3, row 15)."""
    prior = {"sensor": 0.3, "wiring": 0.7}
    once = posterior(prior, [five("A")] * 3, discount=1.0).shares["sensor"]
    assert once == pytest.approx(0.682, abs=0.001)
    naive = posterior(prior, [five("A"), five("B"), five("C")], discount=1.0).shares["sensor"]
    assert naive == pytest.approx(0.982, abs=0.001)


def test_weights_are_discounted() -> None:
    """0.7 of each weight (reference sheet section 5.2): 5 becomes 5 to the power of 0.7."""
    shares = posterior({"sensor": 0.5, "wiring": 0.5}, [five("A")]).shares
    assert shares["sensor"] / shares["wiring"] == pytest.approx(5.0**0.7)


def test_no_group_moves_two_classes_apart_by_more_than_its_bound() -> None:
    """End of scale and the step there are one fact: at most 60 to 1 together, here 100."""
    table = evidence_ratios()
    pieces = [piece_of(table["end_of_scale"]), piece_of(table["step_to_end"])]
    (group,) = group_weights(pieces).values()
    apart = group["wiring"] - group["real_condition"]
    assert 10.0 * math.log10(50.0) <= apart <= MOST_APART_DB
    assert group["wiring"] > group["sensor"]


def test_evidence_that_contradicts_itself_feeds_the_reserve() -> None:
    prior = {"sensor": 0.45, "wiring": 0.45, OTHER: 0.1}
    table = evidence_ratios()
    pieces = [piece_of(table["sensor_changed_unchanged"]), piece_of(table["shaken"]),
              piece_of(table["soak_differs"]), piece_of(table["only_while_cold"])]  # fmt: skip
    against = Piece("against both", "Q", {"sensor": -10.0, "wiring": -10.0})
    assert posterior(prior, [against]).shares[OTHER] > 0.1
    assert posterior(prior, [*pieces, against]).shares[OTHER] > 0.1


def test_two_causes_where_neither_explains_all() -> None:
    """Parsimonious covering (Peng and Reggia 1990)."""
    prior = {"sensor": 0.45, "wiring": 0.45, OTHER: 0.1}
    for_sensor = Piece("s", "A", {"sensor": 20.0, "wiring": -20.0})
    for_wiring = Piece("w", "B", {"sensor": -20.0, "wiring": 20.0})
    also = Piece("t", "C", {"sensor": 20.0, "wiring": -20.0})
    too = Piece("v", "D", {"sensor": -20.0, "wiring": 20.0})
    found = posterior(prior, [for_sensor, for_wiring, also, too])
    assert found.pair is not None
    assert set(found.pair) == {"sensor", "wiring"}
    assert posterior(prior, [for_sensor]).pair is None
    odds = assembled(
        "f",
        before(),
        [],
        answers=[
            AnswerWeights("a", "f", "o", {"sensor": 0.99, "real_condition": 0.01}, "X", "test"),
            AnswerWeights("b", "f", "o", {"sensor": 0.01, "real_condition": 0.99}, "Y", "test"),
        ],
    )
    assert sum(one.contributing for one in odds.suspects) <= 1


def test_the_five_cases_of_a_farm_move_a_prior_by_a_third() -> None:
    """Weight 10 and five measured cases (reference sheet section 3, row 19)."""
    one = fault("f", 110, 16)
    case = machine([visit(0, told(one, spell(10, 20)))], [one])
    plain = before_evidence(case, one, starts_of(case))
    own = [OwnCause(110, 16, "sensor", "measured")] * 5
    moved = before_evidence(case, one, starts_of(case), own)
    assert moved.own_cases == 5.0
    expected = (10.0 * plain.shares["sensor"] + 5.0) / 15.0
    assert moved.shares["sensor"] == pytest.approx(expected)
    opinion = [OwnCause(110, 16, "sensor", "opinion")]
    assert before_evidence(case, one, starts_of(case), opinion).own_cases == 0.1
    stranger = [OwnCause(191, 2, "sensor", "measured")]
    assert before_evidence(case, one, starts_of(case), stranger).own_cases == 0.0
    kin = [OwnCause(110, 0, "sensor", "part_held")]
    assert before_evidence(case, one, starts_of(case), kin).own_cases == 0.4


def test_an_old_machine_and_a_long_rest_move_the_prior() -> None:
    one = fault("f", 100, 3)
    young = machine([visit(0, told(one, spell(10, 20)))], [one])
    old = machine([visit(0, told(one, spell(10, 20)), hours_end=9000.0)], [one])
    rested = machine(
        [visit(0), visit(90, told(one, spell(10, 20)), hours_start=101.5, hours_end=102.0)], [one]
    )
    shares = [before_evidence(case, one, starts_of(case)) for case in (young, old, rested)]
    assert shares[1].shares["wiring"] > shares[0].shares["wiring"]
    assert [one.key for one in shares[1].adjusted] == ["machine_hours"]
    apart = [one.shares["low_voltage"] / one.shares["sensor"] for one in shares]
    assert apart[2] == pytest.approx(3.0 * apart[0])


def test_what_could_not_be_judged_moves_nothing() -> None:
    """Missing is not normal (Little and Rubin 2002)."""
    start = before()
    missing = assembled("f", start, [], [Missing("soak_agrees", "no_cold_start", ("rows",))])
    assert missing.posterior == pytest.approx(missing.prior)
    assert ("soak_agrees", "not_possible") in [(one.key, one.state) for one in missing.not_used]
    normal = assembled("f", start, [Found("soak_agrees")])
    assert normal.posterior["sensor"] < missing.posterior["sensor"]


def test_answers_of_checks_share_groups_with_other_evidence() -> None:
    likelihood: dict[Cause, float] = {"sensor": 0.02, "wiring": 0.6, "real_condition": 0.6}
    answer = AnswerWeights("swap", "f", "stays", likelihood, "H", "test", 5, (("v", 4.9),))
    odds = assembled("f", before(100, 3), [], answers=[answer])
    assert odds.posterior["sensor"] < 0.3 * odds.prior["sensor"]
    (about,) = [one for one in odds.suspects if one.cause == "wiring"]
    assert about.evidence[0].key == "check.swap.stays"
    assert about.evidence[0].done_us == 5
    both = assembled("f", before(100, 3), [Found("sensor_changed_unchanged")], answers=[answer])
    assert both.posterior["sensor"] >= 0.2 * odds.posterior["sensor"]
    empty = piece_of_answer("check.x.y", "H", {})
    assert empty.weight_db == {}


def test_each_piece_says_its_weight_and_whether_it_counts() -> None:
    odds = assembled("f", before(110, 16), [Found("end_of_scale"), Found("step_to_end")])
    (wiring,) = [one for one in odds.suspects if one.cause == "wiring"]
    step, end = (
        next(one for one in wiring.evidence if one.key == key)
        for key in ("step_to_end", "end_of_scale")
    )
    full = 10.0 * math.log10(50.0) + 10.0 * math.log10(2.0)
    assert step.weight_db == pytest.approx(0.7 * full, abs=0.01)
    assert step.counts
    assert not end.counts
    assert {one.state for one in wiring.evidence} == {"for"}


@given(st.lists(st.sampled_from(KEYS), max_size=6, unique=True), st.randoms())
def test_shares_add_up_and_order_does_not_matter(keys: list[str], random: object) -> None:
    start = before(3251, 16)
    odds = assembled("f", start, [Found(key) for key in keys])
    assert sum(one.probability for one in odds.suspects) + odds.probability_other == pytest.approx(
        1.0, abs=1e-12
    )
    assert all(0.0 <= share <= 1.0 for share in odds.posterior.values())
    assert sum(odds.posterior.values()) == pytest.approx(1.0)
    ranked = [one.probability for one in odds.suspects]
    assert ranked == sorted(ranked, reverse=True)
    mixed = list(keys)
    random.shuffle(mixed)  # type: ignore[attr-defined]
    assert assembled("f", start, [Found(key) for key in mixed]) == odds


@given(
    st.lists(st.sampled_from(KEYS), max_size=5, unique=True),
    st.sampled_from(CAUSES),
    st.floats(0.1, 20.0),
    st.sampled_from("ABCDEZ"),
)
def test_evidence_for_one_class_alone_never_lowers_it(
    keys: list[str], cause: Cause, decibel: float, group: str
) -> None:
    table = evidence_ratios()
    pieces = [piece_of(table[key]) for key in keys]
    start = before(3251, 16).shares
    weight: dict[Cause, float] = {one: -decibel for one in CAUSES if one != cause}
    weight[cause] = decibel
    more = Piece("more", group, weight)
    was = posterior(start, pieces).shares[cause]
    assert posterior(start, [*pieces, more]).shares[cause] >= was - 1e-12


def test_groups_do_not_depend_on_order() -> None:
    table = evidence_ratios()
    pieces = [piece_of(table[key]) for key in ("frozen", "soak_differs", "zero_at_rest")]
    first = group_weights(pieces)
    assert all(group_weights(list(other)) == first for other in permutations(pieces))


def test_a_code_without_numbers_has_flat_odds() -> None:
    one = fault("f", None, None, kind="symptom")
    case = machine([visit(0)], [one])
    odds = assembled("f", before_evidence(case, one, ()), [])
    assert odds.prior_row == "unknown"
    assert odds.flat
    assert not assembled("g", before(110, 16), []).flat
    assert prior_of(None, None).other > prior_of(110, 16).other
