"""Guided experiments: what follows is found, what does not is not, and p is honest."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.made_payloads import CAB, chatter, done, five_times, group_of, times, walk

from shearbolt.model.frames import U8
from shearbolt.model.instants import SECOND_US
from shearbolt.reasoning.learning import Payloads, Place, Prompts, joined, learn, smallest_p
from shearbolt.reasoning.learning.fields import Field, fields_of, flip_rates
from shearbolt.reasoning.learning.places import bits_of, destination_of, pgn_of, raw_of
from shearbolt.reasoning.learning.prompts import orders_of, weights_of

SECONDS = 100.0


def with_seat(
    rng: np.random.Generator, prompts: Prompts, *, delay_s: float = 0.8, inverted: bool = False
) -> Payloads:
    """Hide a seat bit among chatter: byte 4, bit 2 (from 0: bit 26) of a cab's group."""
    time_us = times(SECONDS)
    data = np.zeros((len(time_us), 8), np.uint8)
    data[:, 0] = np.arange(len(time_us)) % 16
    data[:, 1] = walk(rng, len(time_us))
    seat = done(prompts, time_us, delay_s, rng.normal(0.0, 0.15, len(prompts.at_us)))
    data[:, 3] = (1 - seat if inverted else seat) << 2
    return joined([chatter(rng, SECONDS), group_of(time_us, data)])


def test_a_seat_bit_is_found_with_its_delay_and_nothing_else_is() -> None:
    rng = np.random.default_rng(4)
    prompts = five_times(rng)
    session = learn(with_seat(rng, prompts), prompts)
    (match,) = session.matches
    assert match.place == Place(CAB, 71, 26, 1)
    assert session.p_smallest == pytest.approx(1 / math.comb(11, 5))
    assert session.p_smallest <= match.p_value < 0.01
    assert (match.agreeing, match.stretches, match.inverted) == (11, 11, False)
    assert match.delay_s == pytest.approx(0.8, abs=0.25)
    assert match.delay_low_s is not None
    assert match.delay_high_s is not None
    assert match.delay_s is not None
    assert match.delay_low_s <= match.delay_s <= match.delay_high_s
    assert session.counters >= 4
    assert session.looked_at > 60
    assert session.amiss is None


def test_a_bit_the_other_way_round_is_found_as_such() -> None:
    rng = np.random.default_rng(5)
    prompts = five_times(rng)
    (match,) = learn(with_seat(rng, prompts, inverted=True), prompts).matches
    assert match.inverted
    assert match.delay_s == pytest.approx(0.8, abs=0.25)


@pytest.mark.parametrize("delay_s", [-0.6, 0.1, 2.5])
def test_the_delay_is_estimated(delay_s: float) -> None:
    rng = np.random.default_rng(6)
    prompts = five_times(rng)
    (match,) = learn(with_seat(rng, prompts, delay_s=delay_s), prompts).matches
    assert match.delay_s == pytest.approx(delay_s, abs=0.3)


def test_a_number_that_moves_slowly_is_found_as_one_number() -> None:
    """A hitch that takes 3 s from bottom to top, 0.4 % a count, in byte 6."""
    rng = np.random.default_rng(7)
    prompts = five_times(rng, hold_s=8.0)
    time_us = times(SECONDS + 30)
    aim = done(prompts, time_us).astype(float)
    slow = np.empty(len(aim))
    place = 0.0
    for i, wanted in enumerate(aim):
        place += float(np.clip(wanted - place, -1 / 30, 1 / 30))
        slow[i] = place
    data = np.zeros((len(time_us), 8), np.uint8)
    data[:, 5] = np.rint(slow * 250 + rng.normal(0, 0.4, len(slow))).clip(0, 250)
    session = learn(joined([chatter(rng, SECONDS + 30), group_of(time_us, data)]), prompts)
    (match,) = session.matches
    assert (match.place.start_bit, match.place.bits) == (40, 8)


def test_one_prompt_that_was_missed_does_not_hide_a_bit_that_has_no_rival() -> None:
    rng = np.random.default_rng(8)
    prompts = five_times(rng, times_=6)
    time_us = times(SECONDS + 20)
    seat = done(prompts, time_us)
    missed = (time_us > prompts.at_us[4]) & (time_us < prompts.at_us[5] + SECOND_US)
    seat[missed] = 0
    data = np.zeros((len(time_us), 8), np.uint8)
    data[:, 3] = seat
    (match,) = learn(group_of(time_us, data), prompts).matches
    assert (match.agreeing, match.stretches) == (12, 13)


def test_what_blinks_by_itself_keeps_no_step_with_drawn_commands() -> None:
    """A lamp that blinks at about the pace of the commands: the reason for drawing their times."""
    finds = 0
    for seed in range(30):
        rng = np.random.default_rng(seed)
        prompts = five_times(rng, times_=6)
        time_us = times(SECONDS + 20)
        data = np.zeros((len(time_us), 8), np.uint8)
        period_us = 2 * 6.6 * SECOND_US
        data[:, 2] = ((time_us + rng.integers(0, 12 * SECOND_US)) % period_us < period_us / 2) << 4
        finds += bool(learn(group_of(time_us, data), prompts, seed=seed).matches)
    assert finds <= 1


def test_a_group_sent_on_change_only_is_enough() -> None:
    rng = np.random.default_rng(9)
    prompts = five_times(rng)
    time_us = times(SECONDS)
    seat = done(prompts, time_us)
    turned = np.flatnonzero(np.diff(seat.astype(int), prepend=-1))
    data = np.zeros((len(turned), 8), np.uint8)
    data[:, 0] = seat[turned]
    (match,) = learn(group_of(time_us[turned], data), prompts).matches
    assert match.place == Place(CAB, 71, 0, 1)


@pytest.mark.parametrize(
    ("prompts", "amiss"),
    [
        (Prompts((), (), 0), "too_few"),
        (Prompts((5, 4), (1, 0), 6), "not_rising"),
        (Prompts((0, 10**7), (1, 1), 2 * 10**7), "not_alternating"),
        (Prompts(tuple(range(0, 80, 10)), (1, 0) * 4, 80), "too_short"),
        (Prompts(tuple(range(0, 48 * 10**6, 6 * 10**6)), (1, 0) * 4, 48 * 10**6), "too_regular"),
    ],
)
def test_what_is_no_experiment_says_why(prompts: Prompts, amiss: str) -> None:
    session = learn(chatter(np.random.default_rng(1), 5.0), prompts)
    assert session.amiss == amiss
    assert session.matches == ()


def test_three_times_cannot_settle_and_says_so() -> None:
    rng = np.random.default_rng(3)
    prompts = five_times(rng, times_=3)
    session = learn(with_seat(rng, prompts), prompts)
    assert session.p_smallest == pytest.approx(1 / math.comb(7, 3))
    assert session.amiss == "cannot_settle"
    assert session.matches == ()


def test_nothing_heard_is_told() -> None:
    assert learn(joined([]), five_times(np.random.default_rng(1))).amiss == "nothing_heard"


def test_false_finds_stay_below_the_stated_level() -> None:
    """p < 0.01 over every bit of machines that have no such bit: fewer than 1 in 100."""
    finds = 0
    for seed in range(80):
        rng = np.random.default_rng(1000 + seed)
        prompts = five_times(rng)
        finds += bool(learn(chatter(rng, SECONDS, 2), prompts, seed=seed).matches)
    # 80 x 0.01 = 0.8 expected at most; 4 or more happens in 1 % of such tests (Poisson).
    assert finds <= 3


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from((0.05, 0.1, 0.5)))
def test_random_payloads_find_nothing_and_never_fail(seed: int, period_s: float) -> None:
    rng = np.random.default_rng(seed)
    time_us = times(90.0, period_s)
    data = rng.integers(0, 256, (len(time_us), 8)).astype(np.uint8)
    session = learn(group_of(time_us, data), five_times(rng), seed=seed)
    assert session.matches == ()
    assert session.amiss is None


def test_p_is_uniform_where_nothing_follows() -> None:
    """The largest score of unrelated switches, ranked among all orders, is as likely anywhere."""
    rng = np.random.default_rng(12)
    states = (0, 1) * 5 + (0,)
    weights = weights_of(orders_of(states, 0)[0])
    p_values = []
    for _ in range(400):
        means = rng.random((40, 11))
        largest = np.abs(means @ weights).max(axis=0)
        p_values.append(np.count_nonzero(largest >= largest[0] - 1e-9) / len(largest))
    for level in (0.01, 0.05, 0.2, 0.5):
        share = float(np.mean(np.array(p_values) <= level))
        assert share <= level + 3 * math.sqrt(level * (1 - level) / 400), level
        assert share >= level - 3 * math.sqrt(level * (1 - level) / 400) - 1 / 462, level


def test_orders_begin_with_the_true_one_and_are_all_there_are() -> None:
    orders, complete = orders_of((0, 1, 0, 1, 0, 1, 0), 0)
    assert complete
    assert orders[0].tolist() == [0, 1, 0, 1, 0, 1, 0]
    assert len({tuple(one) for one in orders.tolist()}) == math.comb(7, 3)
    many, complete = orders_of((0, 1) * 10, 7)
    assert not complete
    assert many[0].tolist() == [0, 1] * 10
    assert (many.sum(axis=1) == 10).all()
    assert smallest_p((1, 0) * 5) == pytest.approx(2 / math.comb(10, 5))


def test_the_score_is_a_difference_of_means() -> None:
    weights = weights_of(orders_of((0, 1, 0, 1, 0, 1, 0), 0)[0])
    assert float(np.array([0.0, 1, 0, 1, 0, 1, 0]) @ weights[:, 0]) == pytest.approx(1.0)
    assert float(np.array([0.5, 0.9, 0.5, 0.9, 0.5, 0.9, 0.5]) @ weights[:, 0]) == pytest.approx(
        0.4
    )
    assert float(np.array([0.0, 0, 0, 0, 1, 1, 1]) @ weights[:, 0]) == pytest.approx(1 / 3 - 0.5)


def laid_out(size: int, rng: np.random.Generator) -> U8:
    """Low nibble counter, a 16-bit reading in bytes 3 and 4, a switch, a sum in byte 8."""
    data = np.zeros((size, 8), np.uint8)
    data[:, 0] = np.arange(size) % 16
    reading = (20_000 + np.cumsum(rng.normal(0, 40, size))).astype(np.int64)
    data[:, 2], data[:, 3] = reading & 0xFF, reading >> 8
    data[:, 5] = (np.arange(size) // 200 % 2) << 3
    data[:, 7] = (256 - data[:, :7].sum(axis=1, dtype=np.int64)) % 256
    return data


def test_fields_counters_and_checksums_are_told_apart() -> None:
    data = laid_out(900, np.random.default_rng(2))
    fields = {one.start_bit: one for one in fields_of(data)}
    assert fields[0] == Field(0, 4, "counter")
    assert fields[56] == Field(56, 8, "checksum")
    assert fields[43] == Field(43, 1, "state")
    number = fields[16]
    assert number.kind == "number"
    assert 10 <= number.bits <= 16
    covered = sorted(bit for one in fields.values()
                     for bit in range(one.start_bit, one.start_bit + one.bits))  # fmt: skip
    assert covered == list(range(64))


def test_a_good_checksum_is_known_by_its_flip_rates_alone() -> None:
    """CRC-8 with polynomial 0x2F over a counter and a reading: about every other bit flips."""
    rng = np.random.default_rng(3)
    data = laid_out(600, rng)
    for row in data:
        crc = 0xFF
        for byte in row[:7]:
            crc ^= int(byte)
            for _ in range(8):
                crc = (crc << 1 ^ 0x2F) & 0xFF if crc & 0x80 else crc << 1
        row[7] = crc
    assert Field(56, 8, "checksum") in fields_of(data)


def test_a_reading_that_only_rises_is_no_counter() -> None:
    data = np.zeros((200, 8), np.uint8)
    data[:, 1] = np.arange(200) // 3
    assert not any(one.kind == "counter" for one in fields_of(data))


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(0, 40))
def test_fields_cover_every_bit_once(seed: int, size: int) -> None:
    data = np.random.default_rng(seed).integers(0, 256, (size, 8)).astype(np.uint8)
    data &= np.random.default_rng(seed + 1).integers(0, 256, 8).astype(np.uint8)
    bits = [
        bit for one in fields_of(data) for bit in range(one.start_bit, one.start_bit + one.bits)
    ]
    assert bits == list(range(64))


def test_places_in_a_payload() -> None:
    data = np.array([[1, 0x80, 0x12, 0x34, 0, 0, 0, 0xF0]], np.uint8)
    assert raw_of(data, Place(CAB, 1, 16, 16)).tolist() == [0x3412]
    assert raw_of(data, Place(CAB, 1, 15, 1)).tolist() == [1]
    assert raw_of(data, Place(CAB, 1, 60, 4)).tolist() == [15]
    assert bits_of(data)[0, [0, 15, 59, 60]].tolist() == [1, 1, 0, 1]
    with pytest.raises(ValueError, match="no such place"):
        raw_of(data, Place(CAB, 1, 60, 8))
    assert flip_rates(np.array([[0] * 64, [1] * 64, [1] * 64], np.uint8))[0] == 0.5


def test_groups_to_one_address_are_kept_apart() -> None:
    """SAE J1939-21 5.2: with a PDU format below 240 the low byte is the destination."""
    assert (pgn_of(61184 + 6), destination_of(61184 + 6)) == (61184, 6)
    assert (pgn_of(65531), destination_of(65531)) == (65531, None)
    assert (pgn_of(126720 + 3), destination_of(126720 + 3)) == (126720, 3)
