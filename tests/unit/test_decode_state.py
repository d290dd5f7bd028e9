"""The second-by-second state: last, lowest and highest number a second, blocks cut anywhere."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from shearbolt.book.signals import SignalsWriter
from shearbolt.book.state_file import STATE, read_state
from shearbolt.decode.state import StateBuilder
from shearbolt.dictionary.quantities import quantities, state_spns
from shearbolt.dictionary.signals import row_of_spn
from shearbolt.model.instants import SECOND_US
from shearbolt.model.signal import ERROR, NOT_AVAILABLE, NUMBER, SignalColumn
from shearbolt.model.state import SILENT, StateKey, StateTable

SPEED = row_of_spn(190)[0]
COOLANT = row_of_spn(110)[0]
KEY = StateKey("can0", 0, 190)


def column(samples: list[tuple[int, float, int]], address: int = 0) -> SignalColumn:
    return SignalColumn(
        "can0",
        address,
        SPEED,
        np.array([at for at, _, _ in samples], np.int64),
        np.array([value for _, value, _ in samples]),
        np.array([status for _, _, status in samples], np.uint8),
    )


def same(one: StateTable, other: StateTable) -> None:
    assert one.second.tolist() == other.second.tolist()
    assert list(one.columns) == list(other.columns)
    for key, mine in one.columns.items():
        for part in ("last", "low", "high", "status"):
            np.testing.assert_array_equal(getattr(mine, part), getattr(other.columns[key], part))


def test_a_second_keeps_its_last_lowest_and_highest_number() -> None:
    builder = StateBuilder({190})
    builder.feed(
        [
            column(
                [
                    (100_000, 800.0, NUMBER),
                    (200_000, 950.0, NUMBER),
                    (900_000, np.nan, NOT_AVAILABLE),
                    (2_100_000, 700.0, NUMBER),
                ]
            )
        ]
    )
    table = builder.finish()
    assert table.second.tolist() == [0, 2]
    got = table.columns[KEY]
    assert (got.last[0], got.low[0], got.high[0], got.status[0]) == (950, 800, 950, NOT_AVAILABLE)
    assert (got.last[1], got.low[1], got.high[1], got.status[1]) == (700, 700, 700, NUMBER)


def test_seconds_of_one_sender_alone_are_silent_for_the_other() -> None:
    builder = StateBuilder({190})
    builder.feed([column([(0, 800.0, NUMBER)]), column([(3 * SECOND_US, 1.0, NUMBER)], address=1)])
    table = builder.finish()
    assert table.columns[KEY].status.tolist() == [NUMBER, SILENT]
    assert np.isnan(table.columns[KEY].last[1])
    assert table.columns[StateKey("can0", 1, 190)].status.tolist() == [SILENT, NUMBER]


def test_what_is_not_asked_for_is_not_kept() -> None:
    builder = StateBuilder({110})
    builder.feed([column([(0, 800.0, NUMBER)])])
    assert len(builder.finish()) == 0


SAMPLES = st.lists(
    st.tuples(
        st.integers(-5 * SECOND_US, 20 * SECOND_US),
        st.integers(0, 3000).map(float),
        st.sampled_from([NUMBER, NUMBER, NOT_AVAILABLE, ERROR]),
    ),
    min_size=1,
    max_size=40,
)


@given(SAMPLES, st.integers(0, 40))
def test_where_blocks_are_cut_changes_nothing(
    samples: list[tuple[int, float, int]], cut: int
) -> None:
    ordered = sorted(
        ((at, np.nan if status != NUMBER else value, status) for at, value, status in samples),
        key=lambda one: one[0],
    )
    whole, parts = StateBuilder({190}), StateBuilder({190})
    whole.feed([column(ordered)])
    parts.feed([column(ordered[:cut]), column(ordered[cut:])])
    same(whole.finish(), parts.finish())


@given(SAMPLES)
def test_it_agrees_with_counting_by_hand(samples: list[tuple[int, float, int]]) -> None:
    ordered = sorted(samples, key=lambda one: one[0])
    builder = StateBuilder({190})
    builder.feed([column([(at, v if s == NUMBER else np.nan, s) for at, v, s in ordered])])
    table = builder.finish()
    seconds: dict[int, list[float]] = {}
    for at, value, status in ordered:
        seconds.setdefault(at // SECOND_US, []).extend([value] if status == NUMBER else [])
    assert table.second.tolist() == sorted(seconds)
    got = table.columns[KEY]
    for i, second in enumerate(sorted(seconds)):
        numbers = seconds[second]
        if numbers:
            assert (got.last[i], got.low[i], got.high[i]) == (
                numbers[-1],
                min(numbers),
                max(numbers),
            )
        else:
            assert np.isnan(got.last[i])


def test_it_comes_back_from_the_book_as_it_was(tmp_path: Path) -> None:
    builder = StateBuilder({190})
    builder.feed([column([(0, 800.5, NUMBER), (5 * SECOND_US, np.nan, ERROR)])])
    table = builder.finish()
    writer = SignalsWriter(tmp_path)
    writer.state(table)
    writer.finish()
    assert [part.name for part in writer.parts] == [STATE]
    assert writer.parts[0].rows == len(table)
    same(read_state(tmp_path / STATE), table)


def test_every_quantity_names_parameters_of_its_unit() -> None:
    for one in quantities():
        for spn in one.spns:
            assert any(row.unit == one.unit for row in row_of_spn(spn)), (one.key, spn)
    assert {190, 110, 1638} <= state_spns()
